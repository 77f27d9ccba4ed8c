// Making a job without writing TOML: its head, its parts from templates or from
// nothing, their limits. The bench writes the sheet; its text can be read and
// changed before it is kept.

import { h, $ } from './dom.js'
import { store } from './store.js'
import { act, get, post, mayWork } from './actions.js'
import { go } from './views.js'

const METHODS = { play: 'play (rock from stop to stop)', 'end-play': 'end play (push and pull)', 'run-out': 'run-out (turn)', size: 'size', drag: 'turning drag', derived: 'derived from others' }
const list = t => t.split(/[,;\n]/).map(w => w.trim()).filter(Boolean)
const field = (label, value, set, more = {}) => h('label', { class: more.whole ? 'whole' : '' }, label, h('input', { value: value ?? '', oninput: e => set(e.target.value), ...more }))
const gaugeNames = () => (store.state?.gauges ?? []).map(g => g.name)
const pick = (label, value, set, options) => h('label', null, label, h('select', { onchange: e => set(e.target.value) }, h('option', { value: '' }, 'choose …'), options.map(([v, w]) => h('option', { value: v, selected: v === value }, w))))

// Sizes hold at 20 °C (ISO 1): the sheet's keys that refer one to it, folded away.
const OF_PART = [['material', 'Material', 'cast iron, or 17.2 um/m/degC'], ['temperature', 'Its own temperature', '24 ± 1 degC'], ['since_handling', 'Or in the room for', '2 h, or 40 min from 60 degC']]
const OF_GAUGE = [['gauge_temperature', "The gauge's temperature", '20 ± 1 degC'], ['master', 'Master it is set to, if any', '30.000 mm'], ['master_material', "The master's material", 'brass'], ['master_temperature', "The master's temperature", '20 ± 1 degC']]
const warm = (title, w, keys) => h('details', { class: 'warmth', open: keys.some(([key]) => w[key]) }, h('summary', null, title), h('div', { class: 'form' }, keys.map(([key, label, placeholder]) => field(label, w[key], v => { w[key] = v }, { placeholder }))))

export function sheet(arg) {
  const number = arg && decodeURIComponent(arg)
  const root = h('section', { class: 'wide' }, h('h1', null, number ? `Sheet of ${number}` : 'Make a job'))
  if (!mayWork) root.append(h('p', null, 'This screen may look but not change.'))
  else if (number) get('/api/sheet/' + encodeURIComponent(number)).then(s => root.append(editor(s.number, s.text, true)), e => root.append(h('p', null, e.message)))
  else get('/api/templates').then(t => root.append(form(t.templates)), e => root.append(h('p', null, e.message)))
  return root
}

// editor shows the sheet's text and keeps it.
function editor(number, words, replace) {
  const area = h('textarea', { class: 'sheettext', spellcheck: 'false', 'aria-label': 'the sheet', value: words })
  const why = h('p', { class: 'errorline', role: 'alert' })
  return h('div', { class: 'stack' }, h('p', { class: 'soft' }, 'The job sheet as it is kept. Every key is explained in the README; takes already made stay whatever changes here.'), area, why,
    h('div', { class: 'row' }, h('button', {
      class: 'main',
      onclick: async () => {
        why.textContent = ''
        const answer = await fetchSave(number, area.value, replace)
        if (answer.error) { why.textContent = answer.error; return }
        if (await act('job', { job: number }, `job ${number}`)) go('bench')
      },
    }, 'Keep and use it'), h('button', { onclick: () => history.back() }, 'Cancel')))
}

async function fetchSave(number, text, replace) {
  const headers = { 'Content-Type': 'application/json', Authorization: 'Bearer ' + document.querySelector('meta[name=token]').content }
  const res = await fetch('/api/sheet', { method: 'POST', headers, body: JSON.stringify({ number, text, replace }) }).catch(() => null)
  if (!res) return { error: 'not sent: the bench cannot be reached' }
  return res.ok ? {} : res.json().catch(() => ({ error: `the bench answered ${res.status}` }))
}

function form(templates) {
  const job = { number: '', customer: '', machine: '', assembly: '', operator: store.state?.job?.operator ?? '', stages: [], room: '', parts: [] }
  const parts = h('div', { class: 'stack' }), after = h('div', { class: 'stack' })
  const draw = () => parts.replaceChildren(...job.parts.map((p, i) => part(p, templates, () => { job.parts.splice(i, 1); draw() }, () => { draw(); return parts.children[i] })))
  const added = p => { job.parts.push(p); draw(); $('input', parts.lastChild).focus() }
  const add = h('div', { class: 'row' }, templates.map(t => h('button', { type: 'button', title: t.help, onclick: () => added(fromTemplate(t)) }, '+ ', t.name)),
    h('button', { type: 'button', onclick: () => added({ template: '', name: '', places: [], warmth: {}, checks: [nothing()] }) }, '+ from nothing'))
  return h('div', { class: 'stack' }, h('form', {
    class: 'stack',
    onsubmit: async e => {
      e.preventDefault()
      const answer = await post('/api/draft', { ...job, parts: job.parts.map(clean) })
      if (answer) { after.replaceChildren(h('h2', null, 'The sheet'), editor(answer.number, answer.text, false)); after.scrollIntoView() }
    },
  },
  h('div', { class: 'form' },
    field('Number', '', v => { job.number = v }, { required: true, pattern: '[A-Za-z0-9][A-Za-z0-9._\\-]{0,63}', placeholder: '2026-042', title: 'letters, digits, dot, dash and underline' }),
    field('Customer', '', v => { job.customer = v }), field('Machine', '', v => { job.machine = v }), field('Assembly', '', v => { job.assembly = v }),
    field('Measured by', job.operator, v => { job.operator = v }), field('Stages, if any', '', v => { job.stages = list(v) }, { placeholder: 'as found, assembled' })),
  warm('Temperature of the shop: with it sizes are referred to 20 °C', job, [['room', 'Room', '18 ± 1 degC']]),
  h('h2', null, 'Parts and checks'), parts, h('p', { class: 'soft' }, 'Add a part with its usual checks, or one from nothing:'), add,
  h('div', { class: 'row' }, h('button', { class: 'main' }, 'Write the sheet'))), after)
}

const nothing = () => ({ name: '', method: 'play', warmth: {} })
const sizes = t => t.checks.filter(c => c.method === 'size')
const fromTemplate = t => ({ template: t.id, name: t.part, places: [...t.places], gauges: {}, limits: {}, source: '', warmth: {}, warmths: Object.fromEntries(sizes(t).map(c => [c.name, {}])) })
const clean = p => ({ ...p, checks: p.checks?.map(c => ({ ...c, warmth: c.method === 'size' ? c.warmth : {} })) })

function part(p, templates, drop, redraw) {
  const t = templates.find(t => t.id === p.template)
  return h('section', { class: 'sheetpart' },
    h('div', { class: 'row' }, h('h3', null, t ? t.name : 'From nothing'), h('button', { type: 'button', class: 'small', onclick: drop }, 'Take out')),
    t ? h('p', { class: 'soft' }, t.help) : null,
    h('div', { class: 'form' }, field('Component', p.name, v => { p.name = v }, { required: true }), field('Positions, with commas', p.places.join(', '), v => { p.places = list(v) }, { placeholder: 'upper bush, lower bush' }),
      t ? t.roles.map(r => pick(r.name, p.gauges[r.id], v => { p.gauges[r.id] = v }, gaugeNames().map(g => [g, g]))) : null),
    t && !sizes(t).length ? null : warm('Material and temperature of the part', p.warmth, OF_PART),
    t ? h('div', { class: 'form' }, t.checks.map(c => field(`Limits: ${c.name}`, p.limits[c.name], v => { p.limits[c.name] = v }, { placeholder: '0.009..0.050 mm or 32 H7' })),
      field('Where the limits come from', p.source, v => { p.source = v }, { placeholder: 'workshop manual, sheet, table' }), sizes(t).map(c => warm(`Temperature: ${c.name}`, p.warmths[c.name], [...OF_PART, ...OF_GAUGE]))) : p.checks.map((c, i) => check(c, () => { p.checks.splice(i, 1); redraw() })),
    t ? null : h('div', { class: 'row' }, h('button', { type: 'button', class: 'small', onclick: () => { p.checks.push(nothing()); $('input', [...redraw().querySelectorAll('.sheetcheck')].at(-1)).focus() } }, '+ check')))
}

function check(c, drop) {
  const own = warm("Temperature, where it differs from the part's", c.warmth, [...OF_PART, ...OF_GAUGE])
  const method = v => { c.method = v; own.hidden = v !== 'size' }
  method(c.method)
  return h('div', { class: 'sheetcheck' }, h('div', { class: 'form' },
    field('Check', c.name, v => { c.name = v }, { required: true, placeholder: 'play in bushes' }), pick('Method', c.method, method, Object.entries(METHODS)),
    pick('Gauge', c.gauge, v => { c.gauge = v }, gaugeNames().map(g => [g, g])), field('Limits or fit', c.limits, v => { c.limits = v }, { placeholder: '0.009..0.050 mm or 32 H7' }),
    field('Where they come from', c.source, v => { c.source = v }), field('Strokes', c.strokes, v => { c.strokes = v }, { inputmode: 'numeric', placeholder: '6' }),
    field('Derived: value', c.value, v => { c.value = v }, { placeholder: 'bush["upper"] - pin["upper"]' })),
  own, h('div', { class: 'row' }, h('button', { type: 'button', class: 'small', onclick: drop }, 'Take the check out')))
}
