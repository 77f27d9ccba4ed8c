// Every gauge: how its line is, what it said last and when, what did not fit,
// and the bytes themselves.

import { h, s, text } from './dom.js'
import { store, on } from './store.js'
import { reading } from './units.js'
import { late, says } from './age.js'
import { NONE } from './headline.js'

let root = null
const cards = new Map()

export function gauges() {
  cards.clear()
  root = h('section', { class: 'wide' }, h('h1', null, 'Gauges'), h('div', { class: 'gauges' }))
  draw()
  return root
}
on('state', () => root?.isConnected && draw())
on('reading', n => root?.isConnected && cards.has(n) && value(n))
on('tick', () => { if (root?.isConnected) for (const n of cards.keys()) value(n) })

const LINKS = { up: 'connected', waiting: 'waiting for its port', lost: 'lost', silent: 'silent', held: 'held by another program', denied: 'no permission', bad: 'wrong settings' }
const mark = up => s('svg', { class: 'mark2', viewBox: '0 0 20 20', 'aria-hidden': 'true' }, up ? s('path', { d: 'M1 10h18M5 6v8M15 6v8' }) : s('path', { d: 'M1 10h5M14 10h5M7 5l6 10M13 5L7 15' }))

function card(g) {
  const c = { value: h('span', { class: 'fig big' }), unit: h('span', { class: 'unit' }), age: h('span', { class: 'age' }), list: h('dl', { class: 'pairs' }), link: h('p', { class: 'linkline' }), message: h('p', { class: 'message' }), raw: h('code', { class: 'raw' }), bad: h('code', { class: 'raw' }) }
  c.el = h('article', { class: 'gauge' }, h('h2', null, g.name), c.link, c.message, h('p', { class: 'reading2' }, c.value, ' ', c.unit, ' ', c.age), c.list,
    h('div', { class: 'rawbox' }, h('h3', null, 'Last line as sent'), c.raw), h('div', { class: 'rawbox' }, h('h3', null, 'Last bytes that did not fit'), c.bad))
  return c
}

function draw() {
  const all = store.state?.gauges ?? []
  const box = root.lastChild
  if (all.length === 0) { box.replaceChildren(h('p', null, NONE)); cards.clear(); return }
  for (const [n, c] of cards) if (!all.some(g => g.name === n)) { c.el.remove(); cards.delete(n) }
  for (const g of all) {
    if (!cards.has(g.name)) { if (cards.size === 0) box.replaceChildren(); const c = card(g); cards.set(g.name, c); box.append(c.el) }
    const c = cards.get(g.name)
    c.el.dataset.link = g.link
    c.link.replaceChildren(mark(g.link === 'up'), LINKS[g.link] ?? g.link)
    text(c.message, g.message ?? '')
    const rows = [['port', g.port], ['driver', g.driver], ['sends', { stream: 'all the time', change: 'when the value changes', press: 'when its button is pressed' }[g.sends] ?? g.sends], ['step', g.step && `${g.step} ${g.unit}`], ['rate', g.rate && `${g.rate} readings/s`], ['readings', String(g.good ?? 0)], ['did not fit', String(g.bad ?? 0)], ['certificate due', g.due && g.due + (g.overdue ? ', overdue' : '')]].filter(r => r[1])
    c.list.replaceChildren(...rows.flatMap(([k, v]) => [h('dt', null, k), h('dd', { class: v.endsWith('overdue') || (k === 'did not fit' && v !== '0') ? 'watch' : '' }, v)]))
    text(c.bad, g.bad_raw || 'none')
    value(g.name)
  }
}

function value(name) {
  const c = cards.get(name), g = store.gauges.get(name)
  if (!g) return
  const r = reading(g.value, g.unit, store.state.unit, g.step)
  const none = !!g.fault || !r.text
  c.el.classList.toggle('none', none)
  text(c.value, none ? '----' : r.text)
  text(c.unit, g.fault || r.unit)
  text(c.age, says(name))
  c.el.classList.toggle('late', late(name))
  text(c.raw, g.raw || 'nothing yet')
}
