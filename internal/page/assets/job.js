// The job: components by positions with their verdicts, the history of each,
// and the ways to go somewhere else or to measure again.

import { h, keyed } from './dom.js'
import { store, on } from './store.js'
import { range, result } from './units.js'
import { shape, shapeOf } from './shapes.js'
import { verdictWord } from './headline.js'
import { act, mayWork } from './actions.js'
import { choose, open } from './dialogs.js'
import { go } from './views.js'
import { sumLink, said } from './sums.js'

let root = null, head = null, list = null, then = null

export function job() {
  head = h('div', { class: 'jobhead' }); list = h('div', { class: 'checks' }); then = h('section', { class: 'then' })
  root = h('section', { class: 'wide' }, head, list, then)
  draw()
  return root
}
on('state', () => root?.isConnected && draw())

function draw() {
  const st = store.state
  if (!st) return
  const j = st.job
  keyed(head, JSON.stringify([j, st.stage, (st.jobs ?? []).length, mayWork]), () => [
    h('div', null, h('h1', null, j ? [h('span', { class: 'fig' }, j.number), ' ', j.machine] : 'No job'),
      j ? h('p', { class: 'soft' }, [j.assembly, j.customer && `for ${j.customer}`, j.operator && `by ${j.operator}`, `sheet ${j.sheet}`].filter(Boolean).join(' · ')) : h('p', null, 'Takes made now are kept as a loose job. Choose a job, or make one.')),
    j ? h('div', { class: 'progress' }, h('b', { class: 'fig' }, `${j.done}/${j.total}`), h('span', null, 'positions measured', st.stage ? ` ${st.stage}` : '')) : null,
    h('div', { class: 'row' },
      h('button', { onclick: chooseJob }, 'Choose a job'), h('a', { class: 'button', href: '#sheet' }, 'Make a job'),
      j ? h('a', { class: 'button', href: '#sheet=' + encodeURIComponent(j.number) }, 'Edit the sheet') : null,
      j?.stages?.length ? h('button', { onclick: chooseStage }, 'Stage: ', st.stage || 'none') : null)])
  keyed(then, JSON.stringify(st.suggest), () => st.suggest?.length ? [h('h2', null, 'What comes next'), h('ul', { class: 'asked' }, st.suggest.map(s =>
    h('li', null, h('p', null, h('b', null, [s.component, s.check, s.position].filter(Boolean).join(', ')), ': ', said(s)), h('a', { class: 'button', href: sumLink(s) }, 'Work it out'))))] : [])
  const checks = st.checks ?? []
  const here = st.active && [st.active.component, st.active.check, st.active.position].join('\n')
  keyed(list, JSON.stringify([checks, st.stage, st.unit, here]), () => {
    const parts = [...new Set(checks.map(c => c.component))]
    return parts.map(p => h('section', { class: 'part' }, h('h2', null, p), checks.filter(c => c.component === p).map(c => check(c, st, here))))
  })
}

// now is the take that counts for a position at the present stage.
function now(p, st) {
  const takes = (p.takes ?? []).filter(t => !st.stage || !t.stage || t.stage === st.stage)
  const gone = new Set(takes.map(t => t.replaces).filter(Boolean))
  return takes.filter(t => !gone.has(t.take)).at(-1)
}

function check(c, st, here) {
  return h('div', { class: 'check' },
    h('h3', null, c.check, h('span', { class: 'soft' }, ` ${c.method}, ${range(c.low, c.high, c.unit, st.unit)}`)),
    h('ul', { class: 'chips' }, (c.positions ?? []).map(p => {
      const t = now(p, st)
      const r = t && result(t.result, t.u95, t.unit, st.unit)
      const isHere = here === [c.component, c.check, p.position].join('\n')
      return h('li', null, h('button', { class: 'chip', 'data-kind': t ? t.verdict || 'none' : 'open', 'aria-current': isHere ? 'true' : null, onclick: () => detail(c, p) },
        shape(t ? shapeOf(t.verdict, t.side, t.method) : 'wait'),
        h('span', { class: 'place' }, p.position || c.component, isHere ? h('em', null, ' now here') : null),
        h('span', { class: 'worth' }, t ? [h('b', { class: 'fig' }, r.text), r.u ? ` ± ${r.u}` : '', ` ${r.unit}`] : 'not measured'),
        h('span', { class: 'verdict' }, t ? verdictWord(t.verdict) : 'OPEN')))
    })))
}

function detail(c, p) {
  const st = store.state
  const where = { component: c.component, check: c.check, position: p.position }
  const staged = (p.takes ?? []).some(t => t.stage)
  const heads = ['take', 'when', staged && 'stage', 'result', 'strokes', 'verdict', ''].filter(w => w !== false)
  open(`${c.component}, ${c.check}: ${p.position}`, close => [
    (p.takes ?? []).length === 0 ? h('p', null, 'Not measured yet.') : h('div', { class: 'scroll', tabindex: 0, role: 'group', 'aria-label': 'history' }, h('table', { class: 'history' },
      h('thead', null, h('tr', null, heads.map(w => h('th', { scope: 'col' }, w)))),
      h('tbody', null, [...p.takes].reverse().map(t => {
        const r = result(t.result, t.u95, t.unit, st.unit)
        const by = p.takes.find(o => o.replaces === t.take)
        return h('tr', { class: by ? 'gone' : '' }, h('td', null, t.take), h('td', null, new Date(t.time).toLocaleString(undefined, { dateStyle: 'medium', timeStyle: 'short' })), staged ? h('td', null, t.stage) : null, h('td', { class: 'figs' }, `${r.text} ${r.u ? `± ${r.u} ` : ''}${r.unit}`),
          h('td', { class: 'strokes' }, t.strokes + (Number(t.left_out) ? ` (${t.left_out} left out)` : '')), h('td', null, verdictWord(t.verdict).toLowerCase(), t.say ? h('div', { class: 'soft' }, t.say) : null, t.settles ? h('div', { class: 'soft' }, `would decide it: ${t.settles}`) : null), h('td', null, by ? `replaced by ${by.take}` : t.replaces ? `replaces ${t.replaces}` : ''))
      })))),
    h('div', { class: 'row' },
      h('button', { class: 'main', disabled: !mayWork, onclick: async () => { if (await act('position', where, 'now here')) { close(); go('bench') } } }, 'Measure here'),
      now(p, st) ? h('button', { disabled: !mayWork, onclick: async () => { if (await act('redo', { ...where, take: Number(now(p, st).take) }, 'measure it again')) { close(); go('bench') } } }, 'Redo') : null,
      h('button', { onclick: close }, 'Close'))])
}

export function chooseJob() {
  choose('Choose a job', () => [
    ...(store.state?.jobs ?? []).map(j => ({ name: j.number, note: j.machine + (j.number === store.state.job?.number ? ', now in hand' : ''), pick: () => act('job', { job: j.number }, `job ${j.number}`) })),
    ...(store.state?.job ? [{ name: 'No job', note: 'takes made then are loose', pick: () => act('job', {}, 'no job') }] : [])], 'The job folder holds no sheet yet: make a job.')
}

export function chooseStage() {
  choose('Choose the stage', () => (store.state?.job?.stages ?? []).map(g => ({ name: g, note: g === store.state.stage ? 'now' : '', pick: () => act('stage', { stage: g }, g) })), 'This job has no stages.')
}

export function choosePosition() {
  choose('Choose component and position', () => (store.state?.checks ?? []).flatMap(c => (c.positions ?? []).map(p => {
    const t = now(p, store.state)
    return { name: `${c.component}: ${p.position}`, note: `${c.check}, ${t ? verdictWord(t.verdict).toLowerCase() : 'open'}`, pick: () => act('position', { component: c.component, check: c.check, position: p.position }, p.position) }
  })), 'There is no job with positions: choose or make one.')
}
