// The trade's sums: a form for each, drawn from the same definition as the
// command, with a small picture of the geometry.

import { h, $ } from './dom.js'
import { store } from './store.js'
import { act, get, mayWork, post } from './actions.js'
import { unitName } from './units.js'

let all = null
const kept = {} // what was typed, by verb

// sumLink is where a suggestion leads: its sum's form with what is known filled
// in. said is its words without the place, which stands beside them.
export const sumLink = s => `#sums=${s.verb}?` + new URLSearchParams([...Object.entries(s.inputs ?? {}).map(([k, v]) => [k, v.join('; ')]), ['unit', s.unit]])
export const said = s => s.text.slice(s.text.indexOf(': ') + 2)

export function sums(arg = '') {
  const [verb, given] = arg.split('?')
  if (given) kept[verb] = { ...Object.fromEntries(new URLSearchParams(given)), given: true }
  const root = h('section', { class: 'wide' }, h('h1', null, 'Sums'))
  const show = () => {
    const sum = all.find(s => s.verb === verb) ?? all[0]
    root.append(h('div', { class: 'sumview' },
      h('nav', { class: 'sumlist', 'aria-label': 'Sums' }, all.map(s => h('a', { href: '#sums=' + s.verb, 'aria-current': s === sum ? 'page' : null }, s.title))),
      body(sum)))
    const form = $('.sumbody form', root)
    if (kept[sum.verb].given && form.checkValidity()) queueMicrotask(() => form.requestSubmit()) // once it is in the page
  }
  if (all) show()
  else get('/api/sums').then(a => { all = a.sums; if (root.isConnected) show() }, e => root.append(h('p', null, e.message)))
  return root
}

function body(sum) {
  const mine = kept[sum.verb] ??= {}
  const answer = h('div', { class: 'answer', 'aria-live': 'polite' })
  const unit = h('select', { name: 'unit' }, ['mm', 'um', 'in', 'thou'].map(u => h('option', { value: u, selected: u === (mine.unit || store.state?.unit || 'mm') }, unitName(u))))
  const form = h('form', {
    class: 'stack',
    onsubmit: async e => {
      e.preventDefault()
      const fields = {}
      for (const f of sum.fields) {
        const el = form.elements[f.name]
        const v = f.kind === 'switch' ? (el.checked ? 'yes' : '') : el.value.trim()
        mine[f.name] = v
        if (v !== '') fields[f.name] = f.many ? v.split(/\s*[;\n]\s*/).filter(Boolean) : [v]
      }
      mine.unit = unit.value
      const a = await post('/api/sums/' + sum.verb, { fields, unit: unit.value })
      answer.replaceChildren(a ? h('div', { class: 'stack' }, worked(a), h('div', { class: 'row' }, h('button', { type: 'button', disabled: !mayWork, onclick: () => act('note', { text: inOneLine(a) }, 'kept with the job, for the record') }, 'Keep with the job'))) : '')
    },
  },
  h('div', { class: 'form' }, sum.fields.map(f => field(f, mine[f.name])), h('label', null, 'answer in', unit)),
  h('div', { class: 'row' }, h('button', { class: 'main' }, 'Work it out')))
  const pic = h('div', { class: 'sumpic', role: 'img', 'aria-label': `sketch: ${sum.title}` }, h('div'))
  pic.firstChild.style.maskImage = pic.firstChild.style.webkitMaskImage = `url(/sums/${sum.verb}.svg)`
  return h('div', { class: 'sumbody' }, h('div', { class: 'stack' }, h('h2', null, sum.title), h('p', null, sum.about), mine.given ? h('p', { class: 'soft', id: 'given' }, 'Filled in from what was measured; change what you know better.') : null, form), pic, answer)
}

function field(f, was) {
  if (f.kind === 'switch') return h('label', { class: 'tick', title: f.help }, h('input', { type: 'checkbox', name: f.name, checked: was === 'yes' }), f.label)
  const label = [f.label, f.required ? ' (needed)' : '', f.many ? ' (several: with ;)' : '']
  const input = f.kind === 'choice'
    ? h('select', { name: f.name }, (f.required || f.default ? [] : ['']).concat(f.choices ?? []).map(c => h('option', { value: c, selected: c === (was ?? f.default) }, c || 'not said')))
    : h('input', { name: f.name, value: was ?? '', placeholder: f.example || f.default || f.unit, required: f.required, inputmode: f.kind === 'number' ? 'decimal' : null, title: f.help, autocomplete: 'off' })
  return h('label', null, h('span', null, label), input, f.help ? h('small', null, f.help) : null)
}

const words = (title, list) => (list?.length ? [h('h3', null, title), h('ul', { class: 'dots' }, list.map(w => h('li', null, w)))] : [])

// inOneLine is a sum as a note of the job keeps it for the record.
function inOneLine(a) {
  const list = lines => (lines ?? []).map(l => `${l.label} ${l.text}`).join('; ')
  return `sum: ${a.title}. Given: ${list(a.given)}. Gives: ${list(a.results)}`
}

function worked(a) {
  return [
    h('dl', { class: 'results' }, (a.results ?? []).flatMap(r => [h('dt', null, r.label), h('dd', null, r.text)])),
    ...words('Mind', a.notes), ...words('Care', a.cautions), ...words('This assumes', a.assumes),
    h('details', null, h('summary', null, 'How it was worked out'), h('p', null, a.formula), h('p', { class: 'soft' }, a.source), h('dl', { class: 'pairs' }, (a.given ?? []).flatMap(g => [h('dt', null, g.label), h('dd', null, g.text)])))]
}
