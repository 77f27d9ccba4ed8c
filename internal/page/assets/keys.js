// The keys. One letter each, off while a field has the focus; a person who
// dictates can turn them off altogether.

import { h, $ } from './dom.js'
import { doThis } from './bench.js'
import { open } from './dialogs.js'
import { chooseJob, choosePosition, chooseStage } from './job.js'
import { toggleVoice } from './voice.js'
import { views, go } from './views.js'

const OFF = 'thouwright-keys-off'
const letters = {
  enter: ['accept', doThis.accept], s: ['start this take over', doThis.restart], r: ['redo the last take', doThis.redo], b: ['back one place', doThis.back],
  n: ['note', doThis.note], u: ['next unit', doThis.unit], l: ['the lock is fastened: measure for the verdict', doThis.lock], t: ['next step of the procedure', doThis.step],
  j: ['choose a job', chooseJob], p: ['choose component and position', choosePosition], g: ['choose the stage', chooseStage], v: ['this screen\'s voice', toggleVoice], '?': ['these keys', () => showKeys()],
}

export function showKeys() {
  open('Keys', close => [
    h('dl', { class: 'pairs' }, [...Object.entries(letters).map(([k, [w]]) => [h('dt', null, h('kbd', null, k === 'enter' ? 'Enter' : k.toUpperCase())), h('dd', null, w)]),
      ...views.map((v, i) => [h('dt', null, h('kbd', null, String(i + 1))), h('dd', null, v.name)])]),
    h('label', { class: 'tick' }, h('input', { type: 'checkbox', checked: !localStorage.getItem(OFF), onchange: e => e.target.checked ? localStorage.removeItem(OFF) : localStorage.setItem(OFF, 'yes') }), 'these keys work on this screen'),
    h('p', { class: 'soft' }, 'A pedal that acts as a keyboard may send any of them.'),
    h('button', { onclick: close }, 'Close')])
}

export function startKeys() {
  addEventListener('keydown', e => {
    if (e.ctrlKey || e.altKey || e.metaKey || e.repeat || localStorage.getItem(OFF) && e.key !== '?') return
    if ($('dialog[open]')) return
    const on = document.activeElement
    if (on?.matches('input, select, textarea, [contenteditable]')) return
    const key = e.key.toLowerCase()
    if (key === 'enter' && on?.matches('button, a, summary')) return
    const view = views[Number(key) - 1]
    if (view) { e.preventDefault(); go(view.id); return }
    if (letters[key]) { e.preventDefault(); letters[key][1]() }
  })
}
