// This screen's own voice. The bench computer makes the sounds; a phone on the
// wall may speak too. A browser speaks only after it has been touched once, so
// the page shows whether its voice is on.

import { h, s } from './dom.js'
import { on, emit } from './store.js'
import { toast } from './actions.js'

const KEY = 'thouwright-voice'
const can = 'speechSynthesis' in window
let wanted = can && localStorage.getItem(KEY) === 'yes'
let touched = false, heard = null

addEventListener('pointerdown', () => { touched = true; emit('voice') }, { once: true })
addEventListener('keydown', () => { touched = true; emit('voice') }, { once: true })

function speak(words) {
  speechSynthesis.cancel() // a newer word replaces an older one
  const u = new SpeechSynthesisUtterance(words)
  u.lang = 'en'
  speechSynthesis.speak(u)
}

on('state', st => {
  const n = st.spoken?.n ?? 0
  if (heard !== null && n > heard && wanted && touched) speak(st.spoken.text)
  heard = n
})

export function toggleVoice() {
  if (!can) return toast('this browser has no voice', true)
  wanted = !wanted
  localStorage.setItem(KEY, wanted ? 'yes' : '')
  if (wanted) speak('voice on'); else speechSynthesis.cancel()
  emit('voice')
}

export function voiceLamp() {
  const state = !can ? 'no voice' : !wanted ? 'voice off' : touched ? 'voice on' : 'touch for voice'
  const loud = wanted && touched
  return h('button', { class: 'small bare lamp', onclick: toggleVoice, 'aria-pressed': String(!!loud), title: 'this screen\'s own voice' },
    s('svg', { viewBox: '0 0 20 20', 'aria-hidden': 'true', fill: 'currentColor' }, s('path', { d: 'M1 7h4l5-5v16l-5-5H1z' }), loud ? s('path', { d: 'M13 5q5 5 0 10M16 2q8 8 0 16', fill: 'none', stroke: 'currentColor', 'stroke-width': 2 }) : s('path', { d: 'M13 6l6 8M19 6l-6 8', stroke: 'currentColor', 'stroke-width': 2 })),
    h('span', null, state))
}
