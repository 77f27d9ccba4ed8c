// Small windows: a note, a choice, the keys.

import { h, keyed } from './dom.js'
import { act } from './actions.js'
import { store, on } from './store.js'

// open shows content in a window; the given function builds it and may close it.
export function open(title, build) {
  const close = () => { box.close(); box.remove() }
  const box = h('dialog', { 'aria-label': title, onclose: () => box.remove() }, h('div', { class: 'stack' }, h('h2', null, title), build(close)))
  document.body.append(box)
  box.showModal()
  return box
}

const PHRASES = ['pitted', 'rust', 'notchy by hand', 'seal renewed', 'part renewed', 'crack-tested', 'greased before measuring']

export function noteDialog() {
  const words = h('textarea', { name: 'text', required: true, 'aria-label': 'What you found', maxlength: 2000 })
  const photo = h('input', { type: 'file', accept: 'image/jpeg,image/png', 'aria-label': 'Photograph', onchange: () => { words.required = !photo.files.length; photo.setCustomValidity(photo.files[0]?.size > 25 << 20 ? 'at most 25 MB' : '') } })
  open('Note', close => h('form', {
    onsubmit: async e => {
      e.preventDefault()
      const kept = photo.files.length ? await act('photo', photo.files[0]) : {}
      if (kept && await act('note', { text: words.value.trim(), photo: kept.photo }, 'noted')) close()
    },
  },
  h('p', { class: 'soft' }, store.state?.active ? `kept with ${store.state.active.component}, ${store.state.active.position}` : 'kept with the job'),
  words,
  h('div', { class: 'row' }, PHRASES.map(p => h('button', { type: 'button', class: 'small', onclick: () => { words.value += (words.value ? ', ' : '') + p; words.focus() } }, p))),
  h('label', { class: 'row' }, 'Photograph', photo),
  h('div', { class: 'row' }, h('button', { class: 'main' }, 'Keep'), h('button', { type: 'button', onclick: close }, 'Cancel'))))
  words.focus()
}

// choose asks for one of a list of {name, note, pick}; the list follows the
// state while it is open.
export function choose(title, list, none = 'Nothing to choose.') {
  const ul = h('ul', { class: 'choices' })
  let close = null
  follow = () => {
    if (!ul.isConnected && close) { follow = null; return }
    const all = list()
    keyed(ul, JSON.stringify(all.map(c => [c.name, c.note])), () => all.length ? all.map(c => h('li', null, h('button', { onclick: () => { close(); c.pick() } }, h('b', null, c.name), ' ', h('span', { class: 'soft' }, c.note ?? '')))) : h('li', null, none))
  }
  follow()
  open(title, c => { close = c; return [ul, h('button', { onclick: c }, 'Cancel')] })
}

let follow = null
on('state', () => follow?.())
