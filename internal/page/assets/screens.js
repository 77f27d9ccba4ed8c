// Other screens: the codes that pair a phone, a tablet or a wall screen, and
// the sound's settings.

import { h, meta, keyed } from './dom.js'
import { store, on } from './store.js'
import { act, get, mayWork } from './actions.js'

let sound = null

export function screens() {
  const codes = h('div', { class: 'codes' })
  sound = h('div', { class: 'stack' })
  if (meta('home')) {
    get('/api/codes').then(({ codes: all }) => codes.replaceChildren(...(all.length ? all.map(code) : [h('p', null, 'This bench answers on this computer only. To use phones and wall screens, set ', h('code', null, 'listen = "0.0.0.0:8417"'), ' in the bench file’s ', h('code', null, '[page]'), '.')])), e => codes.replaceChildren(h('p', null, e.message)))
  } else codes.append(h('p', null, 'The codes are shown on the bench computer.'))
  drawSound()
  return h('section', { class: 'wide' }, h('h1', null, 'Screens and sound'), h('h2', null, 'Pair a screen'), codes, h('h2', null, 'Sound at the bench'), sound)
}

const code = c => h('figure', { class: 'code' }, h('img', { src: c.picture, alt: `code for a screen that may ${c.right}`, width: 220, height: 220 }),
  h('figcaption', null, h('b', null, c.right === 'work' ? 'May look and work' : 'May only look'), h('details', null, h('summary', null, 'the link itself'), h('code', null, c.url))))

on('state', () => sound?.isConnected && drawSound())

function drawSound() {
  const so = store.state?.sound
  if (!so) return
  if (sound.contains(document.activeElement) && document.activeElement.type === 'range') return
  keyed(sound, JSON.stringify(so), () => [
    h('p', null, `Output: ${so.output || 'none'}. This screen’s own voice is switched at the top. What is changed here holds until [sound] in the bench file is edited.`),
    h('label', null, 'Volume', h('input', { type: 'range', min: 0, max: 1, step: 0.05, value: so.volume, disabled: !mayWork, onchange: e => act('sound', { volume: Number(e.target.value) }) })),
    h('label', { class: 'tick' }, h('input', { type: 'checkbox', checked: so.mute, disabled: !mayWork, onchange: e => act('sound', { mute: e.target.checked }) }), 'muted'),
    h('label', { class: 'tick' }, h('input', { type: 'checkbox', checked: so.speech, disabled: !mayWork, onchange: e => act('sound', { speech: e.target.checked }) }), 'results and places spoken at the bench', so.voice ? '' : h('span', { class: 'soft' }, '(espeak-ng is not installed there)')),
    h('fieldset', null, h('legend', null, 'Heard when'), h('div', { class: 'ticks' }, Object.entries(so.cues ?? {}).sort().map(([name, isOn]) => h('label', { class: 'tick' }, h('input', { type: 'checkbox', checked: isOn, disabled: !mayWork, onchange: e => act('sound', { cues: { [name]: e.target.checked } }) }), name.replaceAll('-', ' ')))))])
}
