// The views and the way between them: the address's part after '#'.

import { bench } from './bench.js'
import { job } from './job.js'
import { gauges } from './gauges.js'
import { sums } from './sums.js'
import { record } from './record.js'
import { screens } from './screens.js'
import { sheet } from './sheet.js'
import { h, $ } from './dom.js'
import { on } from './store.js'

export const views = [
  { id: 'bench', name: 'Bench', build: bench }, { id: 'job', name: 'Job', build: job }, { id: 'gauges', name: 'Gauges', build: gauges },
  { id: 'sums', name: 'Sums', build: sums }, { id: 'record', name: 'Record', build: record }, { id: 'screens', name: 'Screens', build: screens },
]
const more = [{ id: 'sheet', name: 'Job sheet', build: sheet }]

export const go = id => { location.hash = id }

function show() {
  const [, id, arg] = location.hash.match(/^#([a-z]*)=?(.*)$/) ?? []
  const v = [...views, ...more].find(v => v.id === id) ?? views[0]
  $('#view').replaceChildren(v.build(arg || undefined))
  $('#nav').replaceChildren(h('ul', null, views.map(w => h('li', null, h('a', { href: '#' + w.id, 'aria-current': w === v ? 'page' : null }, w.name)))))
  document.title = v.id === 'bench' ? 'Thouwright' : `${v.name} – Thouwright`
  scrollTo(0, 0)
}

export function startViews() {
  addEventListener('hashchange', show)
  show()
  // A view that was opened by its address was built before the bench was heard:
  // without its jobs, gauges and unit.
  let heard = false
  on('state', () => { if (!heard && location.hash) show(); heard = true })
}
