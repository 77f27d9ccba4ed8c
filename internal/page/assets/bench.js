// The bench view: one active check, large enough for three metres.

import { h, s, text, keyed } from './dom.js'
import { store, on } from './store.js'
import { reading, result, range, unitName, shownUnit } from './units.js'
import { late, says } from './age.js'
import { headline } from './headline.js'
import { shape } from './shapes.js'
import { Gap } from './gap.js'
import { act, mayWork } from './actions.js'
import { noteDialog } from './dialogs.js'
import { chooseJob } from './job.js'
import { sumLink, said } from './sums.js'

const el = {}
let gap = null, root = null, asked = 0
let standing = null // the take whose verdict is shown; what stands beside the word is about it too

export function bench() {
  gap = new Gap()
  el.position = h('strong', { class: 'position' }); el.what = h('span', { class: 'what' }); el.limits = h('span', { class: 'limits' }); el.count = h('span', { class: 'count' })
  el.value = h('span', { class: 'value', id: 'reading' }); el.unit = h('span', { class: 'unit' }); el.gauge = h('span'); el.age = h('span', { class: 'age' })
  el.label = h('span', { class: 'label' }); el.soFar = h('span', { class: 'value' }); el.u = h('span', { class: 'u' }); el.zone = h('span', { class: 'zone' })
  el.reading = h('div', { class: 'reading' }, el.value, h('div', { class: 'by' }, el.age, el.gauge, el.unit))
  el.result = h('div', { class: 'result' }, el.label, el.zone, el.soFar, ' ', el.u)
  el.word = h('section', { class: 'word', 'aria-live': 'polite', 'aria-label': 'What counts now' })
  el.next = h('p', { class: 'next' }); el.acts = h('div', { class: 'acts' })
  el.cautions = h('div', { class: 'cautions' })
  root = h('section', { class: 'bench' }, h('h1', { class: 'hide' }, 'Bench'),
    h('div', { class: 'where' }, el.position, el.what, el.limits, el.count),
    h('div', { class: 'now' }, el.reading, el.result),
    h('figure', { class: 'gap' }, gap.svg),
    el.word,
    h('div', null, h('div', { class: 'foot' }, el.next, el.acts), el.cautions))
  if (store.state) drawState()
  return root
}

const shown = () => root?.isConnected
on('state', () => shown() && drawState())
on('rest', () => shown() && soon())
on('reading', name => { if (shown() && name === gaugeName()) { drawReading(); soon() } })
on('tick', () => { if (shown() && store.state) { drawAge(); drawWord() } })
on('link', () => shown() && store.state && drawAge())

// soon redraws the picture at the next frame; the number itself does not wait.
function soon() { asked ||= requestAnimationFrame(() => { asked = 0; gap.draw(standing) }) }

document.addEventListener('visibilitychange', () => shown() && soon())

// gaugeName is the gauge whose reading is shown: the active check's, else the
// one that spoke last.
function gaugeName() {
  const a = store.state?.active
  if (a?.gauge) return a.gauge
  let name = '', came = -Infinity
  for (const [n, g] of store.gauges) if (g.came > came) { name = n; came = g.came }
  return name
}

function drawReading() {
  const name = gaugeName(), g = store.gauges.get(name), st = store.state
  if (!st) return
  el.reading.classList.toggle('none', !g || !!g.fault || !g.value)
  if (!g || g.value === undefined) { text(el.value, '\u2009----'); text(el.unit, ''); text(el.gauge, name || 'no gauge'); drawAge(); return }
  const r = reading(g.value, g.unit, st.unit, g.step)
  // A place for the sign is always kept: nothing moves when it comes.
  text(el.value, g.fault || !r.text ? '\u2009----' : /^[0-9]/.test(r.text) ? '\u2009' + r.text : r.text)
  fit(name + r.unit, el.value.textContent.length)
  text(el.unit, g.fault || r.unit)
  text(el.gauge, name + (st.active?.minus ? ` (less ${st.active.minus})` : ''))
  drawAge()
}

// fit keeps room for the longest number that a gauge has shown, so that its size
// does not change to and fro.
const longest = new Map()
function fit(of, chars) {
  longest.set(of, Math.max(chars, longest.get(of) ?? 6))
  el.reading.style.setProperty('--chars', longest.get(of))
}

function drawAge() {
  const name = gaugeName()
  el.reading.classList.toggle('old', late(name))
  text(el.age, says(name))
}

function drawResult() {
  const a = standing ?? store.state.active
  const r = a ? result(a.result, a.u95, a.unit, store.state.unit) : { text: '' }
  text(el.label, r.text ? ({ size: 'size', drag: 'drag', 'run-out': 'run-out', derived: 'derived' }[a.method] ?? 'play') + (standing || a.method === 'derived' ? '' : ' so far') : '')
  text(el.zone, r.text ? '' : a?.zone ? `this gauge ${a.zone}` : '')
  text(el.soFar, r.text)
  text(el.u, r.text ? `${r.u ? `± ${r.u} ` : ''}${r.unit}` : '')
}

function drawWord() {
  const hl = headline(store.state, (performance.now() - store.takeCame) / 1000)
  where(hl.take, hl.lines)
  const was = standing
  standing = hl.take ?? null
  if (was?.take !== standing?.take) { drawResult(); soon() }
  const a = store.state.active
  keyed(el.word, JSON.stringify([hl, a?.steps, a?.step_now]), () => {
    el.word.dataset.kind = hl.kind
    return [shape(hl.shape), h('div', null,
      h('div', { class: 'big', id: 'word' }, hl.word),
      hl.pips ? pips(hl.pips) : null,
      h('div', { class: 'lines' }, hl.lines.map(l => h('p', null, l)), hl.asks ? h('p', { class: 'asks' }, firstOf(said(hl.asks)), ': ', h('a', { href: sumLink(hl.asks) }, 'work it out')) : null)),
    a?.steps?.length ? h('ol', { class: 'steps', 'aria-label': 'the procedure' }, a.steps.map((w, i) => h('li', { class: i < a.step_now ? 'done' : '', 'aria-current': i === a.step_now ? 'step' : null }, w))) : '']
  })
}

// firstOf is a suggestion's first clause: across the room nobody reads the rest,
// which stands in the job view and with the sum.
const firstOf = words => words.split(/; |\. /)[0]

// where names the place that the word below is about: while a verdict stands,
// the place it was given for, and what comes now stands at the foot.
function where(t, lines) {
  const st = store.state, a = st.active
  const moved = t && !(a && t.component === a.component && t.check === a.check && t.position === a.position)
  const at = moved ? t : a
  text(el.position, at ? at.position || at.component || 'loose' : st.job ? 'no check open' : 'no job')
  text(el.what, at ? [at.position ? at.component : '', at.check].filter(Boolean).join(' · ') : '')
  text(el.limits, at ? range(at.low, at.high, at.unit, st.unit) : '')
  const [head, place, then] = moved && a ? ['now: ', [a.component, a.check, a.position].filter(Boolean).join(', '), a.say] : a?.next ? ['next: ', a.next.replaceAll(' / ', ', '), ''] : ['', '', st.job ? (lines.includes(a?.say) ? '' : a?.say ?? '') : 'takes made now are kept as a loose job']
  keyed(el.next, [head, place, then].join('\n'), () => [head, h('b', null, place), then ? (place ? ': ' : '') + then : ''])
}

// pips are the strokes: full ones are done, hollow ones to go, crossed ones were
// left out.
function pips(a) {
  const done = a.strokes, all = Math.max(a.wanted, done)
  const label = `${done} of ${a.wanted} strokes` + (a.left_out ? `, ${a.left_out} left out` : '')
  const box = (cls, ...kids) => s('svg', { class: 'pip ' + cls, viewBox: '0 0 40 40' }, s('rect', { x: 5, y: 5, width: 30, height: 30, rx: 4 }), kids)
  const list = [...Array(Math.min(all, 24)).keys()].map(i => box(i < done ? 'full' : ''))
  for (let i = 0; i < Math.min(a.left_out, 6); i++) list.push(box('', s('path', { d: 'M5 5l30 30M35 5L5 35' })))
  return h('div', { class: list.length > 10 ? 'pips many' : 'pips', role: 'img', 'aria-label': label }, list)
}

// A button that was touched lets go of the focus: the next Enter (a pedal's, say)
// must mean 'accept' and not press it again.
const button = (words, key, f, cls) => h('button', { class: cls, disabled: !mayWork, onclick: e => { if (e.detail > 0) e.currentTarget.blur(); f() } }, words, h('kbd', null, key))

function drawState() {
  const st = store.state, a = st.active
  keyed(el.count, JSON.stringify(st.job && [st.job.done, st.job.total, st.stage]), () => st.job ? [st.stage ? st.stage + '  ' : '', h('b', null, `${st.job.done}/${st.job.total}`)] : [])
  keyed(el.cautions, JSON.stringify(a?.cautions), () => [a?.cautions?.length ? h('span', null, h('b', null, 'Care: '), a.cautions.join(' ')) : null])
  keyed(el.acts, JSON.stringify([a?.adjustable, !!a?.steps?.length, !!st.job, mayWork, unitName(shownUnit(a?.unit || 'mm', st.unit)), a?.phase]), () => [
    ...(st.job ? [] : [h('button', { class: 'main', onclick: chooseJob }, 'Choose a job'), h('a', { class: 'button', href: '#sheet' }, 'Make a job')]),
    a?.adjustable ? button('Lock fastened', 'L', doThis.lock, 'main') : null,
    a?.steps?.length ? button('Next step', 'T', doThis.step) : null,
    button('Accept', '↵', doThis.accept, a?.adjustable || !st.job ? '' : 'main'), button('Start over', 'S', doThis.restart), button('Redo', 'R', doThis.redo),
    button('Back', 'B', doThis.back), button('Note', 'N', doThis.note), button('Unit', 'U', doThis.unit)])
  drawReading(); drawWord(); drawResult(); gap.draw(standing)
}

const UNITS = ['mm', 'um', 'in', 'thou']

// doThis is every command of the bench, for buttons and keys alike.
export const doThis = {
  accept: () => act('accept', {}, 'accepted'),
  restart: () => act('restart', {}, 'started over'),
  redo: () => act('redo', {}, 'measure that place again'),
  back: () => act('back', {}, 'back one place'),
  lock: () => act('lock', {}, 'locked: measure for the verdict'),
  step: () => act('step', {}),
  note: () => noteDialog(),
  unit: () => { const i = UNITS.indexOf(store.state?.unit); const u = UNITS[(i + 1) % UNITS.length]; act('unit', { text: u }, `shown in ${unitName(u)}`) },
}
