// Numbers as people read them. Values come as the logs' own decimals; they are
// shown as sent in their own unit, and converted only for the display unit.

const MM = { mm: 1, um: 0.001, cm: 10, m: 1000, in: 25.4, thou: 0.0254, ft: 304.8 }
export const MINUS = '\u2212'
const NAMES = { um: 'µm', thou: 'thou' }

export const isLength = u => u in MM
export const unitName = u => NAMES[u] ?? u
export const convert = (v, from, to) => (from === to || !isLength(from) || !isLength(to) ? v : v * MM[from] / MM[to])
export const shownUnit = (u, display) => (isLength(u) && isLength(display) ? display : u)

// sign writes a true minus.
export const sign = t => (t.startsWith('-') ? MINUS + t.slice(1) : t)

const digitsOf = t => { const i = t.indexOf('.'); return i < 0 || /e/i.test(t) ? 0 : t.length - i - 1 }

// placesFor is the fewest decimals that still tell one step from the next.
export function placesFor(step) {
  if (!(step > 0)) return 3
  for (let n = 0; n < 7; n++) if (Math.abs(step - Number(step.toFixed(n))) <= 0.1 * step) return n
  return 7
}

// reading formats a gauge's value for the display unit: as sent where the
// units agree, else with the decimals that its step deserves.
export function reading(value, unit, display, step) {
  if (value === '' || value === undefined) return { text: '', unit: unitName(shownUnit(unit ?? '', display)) }
  const to = shownUnit(unit, display)
  if (to === unit || !isLength(unit)) return { text: sign(value), unit: unitName(unit) }
  const d = Number(step) > 0 ? Number(step) : 10 ** -digitsOf(value)
  return { text: sign(convert(Number(value), unit, to).toFixed(placesFor(convert(d, unit, to)))), unit: unitName(to) }
}

// result formats a result and its uncertainty with the digits the uncertainty
// leaves it (two of the uncertainty's own, JCGM 100, 7.2.6).
export function result(value, u95, unit, display) {
  const to = shownUnit(unit, display)
  const out = { text: '', u: '', unit: unitName(to), places: 3 }
  if (value === '' || value === undefined) return out
  const bound = value.startsWith('<')
  const v = convert(Number(value.replace('<', '')), unit, to)
  const u = u95 ? convert(Number(u95), unit, to) : NaN
  // Without an uncertainty it has the digits it was sent with, of a mean no finer than a micron.
  const d = Math.max(10 ** -digitsOf(value), isLength(unit) ? convert(0.001, 'mm', unit) : 1e-4)
  out.places = Number.isFinite(u) && u > 0 ? Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(u)))) : placesFor(convert(d, unit, to))
  out.text = (bound ? '<' : '') + sign(v.toFixed(out.places))
  out.u = u > 0 ? u.toFixed(out.places) : '' // 0 is: not known yet
  out.v = v
  return out
}

// limits formats the ends of a range: as written in their own unit, else both a
// digit finer than the finer of them and rounded into the range, so that nothing
// is shown as permitted that is not.
export function limits(low, high, unit, display) {
  const to = shownUnit(unit, display)
  const d = 10 ** -Math.max(...[low, high].filter(Boolean).map(digitsOf), 0)
  const places = Math.min(6, placesFor(convert(d, unit, to) / 10))
  const end = (value, inward) => {
    if (!value || to === unit) return sign(value ?? '')
    return sign((inward(convert(Number(value), unit, to) * 10 ** places) / 10 ** places).toFixed(places))
  }
  return [end(low, x => Math.ceil(x - 1e-6)), end(high, x => Math.floor(x + 1e-6))]
}

export function range(low, high, unit, display) {
  if (!low && !high) return 'no limits'
  const u = unitName(shownUnit(unit, display))
  const [l, h] = limits(low, high, unit, display)
  if (!l) return `at most ${h} ${u}`
  if (!h) return `at least ${l} ${u}`
  return `${l} to ${h} ${u}`
}
