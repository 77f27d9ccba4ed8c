import { h, s, $, keyed } from './dom.js'
import { store, on } from './store.js'
import { start } from './stream.js'
import { startViews } from './views.js'
import { startKeys, showKeys } from './keys.js'
import { voiceLamp } from './voice.js'
import { ageWords } from './age.js'
import { mayWork, toast } from './actions.js'

function lamps() {
  const up = store.link === 'up'
  $('#lamps').replaceChildren(
    h('span', { class: 'lamp', id: 'linklamp' }, s('svg', { viewBox: '0 0 20 20', fill: 'currentColor', 'aria-hidden': 'true' }, up ? s('circle', { cx: 10, cy: 10, r: 8 }) : s('path', { d: 'M2 2l16 16M18 2L2 18', stroke: 'currentColor', 'stroke-width': 4 })), up ? 'live' : store.link === 'lost' ? 'lost' : 'opening'),
    ...(mayWork ? [] : [h('span', { class: 'lamp' }, 'looks only')]),
    voiceLamp(),
    h('button', { class: 'small bare', onclick: showKeys, 'aria-label': 'Keys' }, '?'))
}

function head(st) {
  keyed($('#jobline'), JSON.stringify([st.job?.number, st.job?.machine, st.job?.assembly, st.job?.customer]), () => st.job ? [h('b', null, st.job.number), [st.job.machine, st.job.assembly, st.job.customer].filter(Boolean).join(' · ')] : ['no job: measure at once, or choose one'])
  const list = $('#problems')
  const all = st.problems ?? []
  list.hidden = all.length === 0
  keyed(list, JSON.stringify(all), () => h('ul', null, [...all].sort((a, b) => a.warning - b.warning).map(p => h('li', { class: p.warning ? 'mild' : '' }, p.warning ? 'note: ' : null, p.file ? h('code', null, p.file + (p.line ? ':' + p.line : '')) : null, p.text))))
}

let since = 0
function lost() {
  const box = $('#lost')
  const gone = store.link === 'lost'
  if (gone && box.hidden) since = performance.now()
  box.hidden = !gone
  if (!gone) return
  const silent = ageWords(Math.floor((performance.now() - (store.heard || since)) / 1000))
  keyed(box, silent, () => [h('b', null, 'NOT CONNECTED'), h('span', null, store.heard ? `nothing heard for ${silent}: what stands below is old. Trying again by itself.` : 'the bench does not answer. Trying again by itself.')])
}

on('state', head)
on('link', () => { lamps(); lost() })
on('voice', lamps)
on('tick', lost)
on('fault', f => toast([f.gauge, f.text ?? f.fault].filter(Boolean).join(': '), true))

lamps()
startViews()
startKeys()
start()
