// The record: look at it here, take it along in four forms or with all it was made of.

import { h } from './dom.js'
import { store } from './store.js'

export function record() {
  const st = store.state
  const number = st?.job?.number ?? ''
  const pick = h('select', { id: 'recjob', onchange: () => show(pick.value) }, [...new Set([number, ...(st?.jobs ?? []).map(j => j.number)])].filter(Boolean).map(n => h('option', { value: n }, n)))
  const frame = h('iframe', { title: 'The record', sandbox: '', class: 'paper' })
  const links = h('div', { class: 'row' })
  const says = h('p', { role: 'status' })
  async function show(n) {
    if (!n) { says.textContent = 'Choose or make a job first: the record is made from its folder.'; return }
    const at = `/record/${encodeURIComponent(n)}/`
    links.replaceChildren(...[['html?save', 'Page (.html)'], ['pdf', 'Paper (.pdf)'], ['xlsx', 'Spreadsheet (.xlsx)'], ['csv', 'Table (.csv)'], ['bundle', 'All of it, with proof (.zip)']].map(([f, w]) => h('a', { class: 'button', href: at + f, download: `${n}.${f.replace('?save', '').replace('bundle', 'zip')}` }, w)))
    says.textContent = 'Making it …'
    const res = await fetch(at + 'html').catch(() => null)
    if (res?.ok) { says.textContent = ''; frame.hidden = false; frame.src = at + 'html' } else {
      const why = await res?.json().catch(() => ({}))
      frame.hidden = true
      says.textContent = why?.error === 'nothing is here' ? 'This bench makes no records.' : why?.error ?? 'The bench cannot be reached.'
    }
  }
  frame.hidden = true
  show(number || pick.value)
  return h('section', { class: 'wide recordview' }, h('h1', null, 'Record'), h('div', { class: 'row' }, h('label', null, 'Job', pick), links, h('button', { onclick: () => show(pick.value) }, 'Look again')), says, frame)
}
