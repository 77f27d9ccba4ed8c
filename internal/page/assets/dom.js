// Building the page's elements without turning any string into markup.

const SVG = 'http://www.w3.org/2000/svg'

function fill(el, props, kids) {
  for (const [k, v] of Object.entries(props ?? {})) {
    if (v === undefined || v === null || v === false) continue
    if (k.startsWith('on')) el.addEventListener(k.slice(2), v)
    else if (k === 'value' || k === 'checked' || k === 'disabled') el[k] = v
    else el.setAttribute(k, v === true ? '' : v)
  }
  el.append(...kids.flat(Infinity).filter(c => c !== null && c !== undefined && c !== false && c !== ''))
  return el
}

export const h = (tag, props, ...kids) => fill(document.createElement(tag), props, kids)
export const s = (tag, props, ...kids) => fill(document.createElementNS(SVG, tag), props, kids)
export const $ = (sel, root = document) => root.querySelector(sel)

// text changes an element's words only when they differ, so that a screen
// reader and the layout hear of real changes alone.
export function text(el, words) {
  if (el.textContent !== words) el.textContent = words
}

// keyed rebuilds el's content only when what it is made of has changed.
const keys = new WeakMap()
export function keyed(el, key, build) {
  if (keys.get(el) === key) return
  keys.set(el, key)
  el.replaceChildren(...[build()].flat(Infinity).filter(Boolean))
}

export const meta = name => document.querySelector(`meta[name=${name}]`)?.content ?? ''
