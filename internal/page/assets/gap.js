// The drawing: two stops and the play between them, to scale. The part's
// position hangs as a bob between the stops; where it was runs down behind it
// over the last seconds, with each rest marked. The second stop has to land in
// the window that the limits cut. Checks without stops (size, drag, derived)
// have the same window on an axis of their own. While a verdict stands the
// drawing is of its take, wherever the gauge goes meanwhile.

import { s } from './dom.js'
import { store, TRAIL } from './store.js'
import { convert, isLength, shownUnit, unitName, limits as limitTexts } from './units.js'

const STOPS = new Set(['play', 'end-play', 'run-out'])
const calm = matchMedia('(prefers-reduced-motion: reduce)')
const HALF = 13 // the bob's radius: the part between the stops has a width of its own
const NICE = [1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10]

function nice(v) {
  const p = 10 ** Math.floor(Math.log10(v))
  return p * NICE.find(n => n * p >= v * 0.999999)
}

// whisker is a result's uncertainty, drawn so that it shows on any ground.
function whisker(x, e, y) {
  const d = `M${x - e} ${y}H${x + e}M${x - e} ${y - 9}v18M${x + e} ${y - 9}v18`
  return [s('path', { class: 'halo', d }), s('path', { class: 'whisk', d })]
}

const place = a => (a ? [a.component, a.check, a.position].join('\n') : '')
const num = t => (t === '' || t === undefined || t === null ? NaN : Number(String(t).replace('<', '')))

export class Gap {
  constructor() {
    this.svg = s('svg', { role: 'img', 'aria-label': '' })
    this.back = s('g'), this.trail = s('path', { class: 'trail' }), this.marks = s('g'), this.plumb = s('path', { class: 'plumb' })
    this.bob = s('circle', { class: 'bob', r: HALF }), this.arrow = s('path', { class: 'bob', d: '' }), this.front = s('g')
    this.svg.append(s('defs', null, s('pattern', { id: 'section', width: 14, height: 14, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, s('path', { class: 'hatch', d: 'M0 0v14' }))),
      this.back, this.trail, this.marks, this.plumb, this.arrow, this.bob, this.front)
    this.w = this.h = 0
    new ResizeObserver(([e]) => { this.w = e.contentRect.width; this.h = e.contentRect.height; this.key = ''; this.draw() }).observe(this.svg)
  }

  // model reads what is drawn, in the check's unit: the take where one is given,
  // else what is measured now.
  model(take) {
    const st = store.state, now = st?.active, a = take ?? now
    if (!a) return null
    const here = place(a) === place(now)
    const g = here ? store.gauges.get(a.gauge) : undefined
    let l0 = num(now?.level_low), l1 = num(now?.level_high)
    if (l0 <= l1 || l0 >= l1) this.stop = { place: place(now), level: Math.min(l0, l1) }
    if (take) { // its stops stay where they were found
      l0 = this.stop?.place === place(take) ? this.stop.level : 0
      l1 = l0 + num(take.result)
    }
    const unit = a.unit || g?.unit || 'mm'
    const into = v => (isLength(unit) ? convert(v, 'mm', unit) : v)
    const step = num(g?.step) ? convert(num(g.step), g.unit, unit) : 0
    return { a, g, unit, into, display: st.unit, low: num(a.low), high: num(a.high), l0, l1, result: num(a.result), u95: num(a.u95), step, stops: STOPS.has(a.method) }
  }

  // scale finds where values lie; it changes in steps only, so that the picture
  // stands still.
  scale(m) {
    const trail = m.g?.trail ?? []
    const play = Number.isFinite(m.l1 - m.l0) ? Math.abs(m.l1 - m.l0) : m.result
    if (m.stops) {
      let span = nice(Math.max(m.high || 0, m.low ? m.low * 1.5 : 0, play || 0, m.step * 6, 1e-6) * 1.12)
      if (!m.high && !play && trail.length) span = nice(Math.max(1e-6, m.step * 20))
      const x0 = this.w * 0.17, k = this.w * 0.62 / span
      let origin = Math.min(m.l0, m.l1)
      if (!Number.isFinite(origin)) {
        const t0 = (trail.at(-1)?.t ?? 0) - 6
        const recent = trail.filter(p => p.t >= t0).map(p => m.into(p.v))
        const min = Math.min(...recent), max = Math.max(...recent)
        origin = max - min < span * 1.2 ? min : (recent.at(-1) ?? 0) - span / 2
      }
      return { k, span, x0, origin, at: v => x0 + (v - origin) * k, play }
    }
    const lo = Number.isFinite(m.low) ? m.low : 0, hi = Number.isFinite(m.high) ? m.high : NaN
    const width = nice(Math.max((Number.isFinite(hi) ? hi - lo : 0) * 1, m.step * 8, Number.isFinite(hi) ? 0 : Math.abs(m.result || lo || 1) * 0.2, 1e-9))
    const mid = Number.isFinite(hi) ? (Number.isFinite(m.low) ? (lo + hi) / 2 : hi - width / 2) : lo + width / 2
    const k = this.w * 0.44 / width
    return { k, span: width, x0: this.w / 2, origin: mid, at: v => this.w / 2 + (v - mid) * k, play: NaN }
  }

  draw(take = this.take) {
    this.take = take
    if (!this.w) return
    const m = this.model(take)
    if (!m) { this.svg.style.visibility = 'hidden'; return }
    this.svg.style.visibility = ''
    const sc = this.scale(m)
    this.still(m, sc)
    this.moving(m, sc)
  }

  // still draws what changes with strokes and checks: window, stops, numbers.
  still(m, sc) {
    const key = [this.w, this.h, m.unit, m.display, m.low, m.high, m.l0, m.l1, m.result, m.u95, sc.k.toFixed(4), m.stops, m.l0 >= 0 || m.l0 < 0 ? '' : sc.origin.toFixed(6)].join()
    if (key === this.key) return
    this.key = key
    const { w, h } = this, top = Math.min(64, h * 0.28)
    this.top = top
    const base = m.stops ? sc.x0 : null
    const clampX = x => Math.max(-20, Math.min(w + 20, x))
    const wl = m.stops ? clampX(base + (Number.isFinite(m.low) ? m.low : 0) * sc.k + HALF) : clampX(Number.isFinite(m.low) ? sc.at(m.low) : -20)
    const wr = Number.isFinite(m.high) ? clampX(m.stops ? base + m.high * sc.k + HALF : sc.at(m.high)) : w + 20
    const limits = Number.isFinite(m.low) || Number.isFinite(m.high)
    const back = [], front = []
    let unitBeside = null
    if (limits) back.push(s('rect', { class: 'window', x: wl, y: top, width: Math.max(2, wr - wl), height: h - top }))
    back.push(s('path', { class: 'axis', d: `M0 ${top}H${w}` }))
    if (limits) {
      const cap = Math.max(6, top * 0.2)
      back.push(s('rect', { class: 'wcap', x: wl, y: top - cap, width: Math.max(2, wr - wl), height: cap }))
      front.push(s('path', { class: 'wedge', d: `${Number.isFinite(m.low) ? `M${wl} ${top - cap}V${h}` : ''}${Number.isFinite(m.high) ? `M${wr} ${top - cap}V${h}` : ''}` }))
      const [low, high] = limitTexts(m.a.low, m.a.high, m.unit, m.display)
      const u = unitName(shownUnit(m.unit, m.display))
      const y = top - cap - 7
      const close = wr - wl < 150
      if (low) front.push(s('text', { class: 'figs', x: close ? wl - 6 : wl, y, 'text-anchor': close ? 'end' : 'middle' }, low))
      if (high) front.push(...unitBeside = [s('text', { class: 'figs', x: wr, y, 'text-anchor': close ? 'start' : 'middle' }, high), s('text', { y }, u)])
    }
    if (m.stops) {
      const known = Number.isFinite(m.l0) || Number.isFinite(m.l1)
      const solid = (x, width, guess) => [s('rect', { class: guess ? 'metal guess' : 'metal', x, y: top, width: Math.max(0, width), height: h - top }), guess ? null : s('rect', { fill: 'url(#section)', x, y: top, width: Math.max(0, width), height: h - top })].filter(Boolean)
      back.push(...solid(-20, sc.x0 + 20 - HALF, !known))
      if (Number.isFinite(sc.play) && known && Number.isFinite(m.l0) && Number.isFinite(m.l1)) {
        const x1 = sc.x0 + sc.play * sc.k
        back.push(...solid(x1 + HALF, w - x1 + 20, false))
        front.push(s('path', { class: 'face', d: `M${sc.x0 - HALF} ${top}V${h}M${x1 + HALF} ${top}V${h}` }))
        this.inside = [sc.x0, x1]
        if (Number.isFinite(m.u95)) {
          const e = m.u95 * sc.k, y = h - 20
          front.push(...whisker(x1 + HALF, e, y))
        }
      } else if (known) front.push(s('path', { class: 'face', d: `M${sc.x0 - HALF} ${top}V${h}` }))
    } else if (Number.isFinite(m.result)) {
      const x = clampX(sc.at(m.result)), e = (m.u95 || 0) * sc.k, y = h - 22
      front.push(s('path', { class: 'face', d: `M${x} ${top}V${h}` }), ...whisker(x, e, y))
    }
    this.back.replaceChildren(...back)
    this.front.replaceChildren(...front)
    if (unitBeside) { // both stay inside, the unit clear of the number's end
      const [n, u] = unitBeside, box = n.getBBox(), gap = 8
      const over = Math.max(0, box.x + box.width + gap + u.getComputedTextLength() + 6 - w)
      n.setAttribute('x', wr - over)
      u.setAttribute('x', box.x + box.width + gap - over)
    }
    const words = [m.stops ? 'The two stops and the play between them.' : 'The value against its limits.']
    if (limits) words.push(`Permitted ${limitTexts(m.a.low, m.a.high, m.unit, m.display).map(x => x || 'any').join(' to ')} ${unitName(shownUnit(m.unit, m.display))}.`)
    this.svg.setAttribute('aria-label', words.join(' '))
  }

  // moving draws what changes with every reading.
  moving(m, sc) {
    const { w, h } = this, top = this.top, y0 = top + 18
    const trail = m.g?.trail ?? []
    const last = trail.at(-1)
    const usable = m.a.method !== 'derived' && last
    for (const el of [this.bob, this.trail, this.plumb, this.arrow]) el.style.visibility = usable ? '' : 'hidden'
    this.marks.replaceChildren()
    if (!usable) return
    const pace = Math.max(26, (h - y0) / TRAIL * 1.1) // pixels a second
    const yAt = t => y0 + (last.t - t) * pace
    const xAt = v => Math.max(-40, Math.min(w + 40, sc.at(m.into(v))))
    let d = ''
    if (!calm.matches) for (let i = trail.length - 1, prev = last.t; i >= 0; i--) {
      const p = trail[i]
      if (!Number.isFinite(p.v)) continue
      d += `${d === '' || prev - p.t > 1.2 ? 'M' : 'L'}${xAt(p.v).toFixed(1)} ${yAt(p.t).toFixed(1)}`
      prev = p.t
      if (yAt(p.t) > h + 20) break
    }
    this.trail.setAttribute('d', d)
    const x = xAt(last.v), off = x < 14 ? -1 : x > w - 14 ? 1 : 0
    const bx = Math.max(20, Math.min(w - 20, x))
    this.bob.setAttribute('cx', bx); this.bob.setAttribute('cy', y0)
    this.bob.style.visibility = off ? 'hidden' : ''
    this.arrow.setAttribute('d', off ? (off < 0 ? `M6 ${y0}l26-15v30z` : `M${w - 6} ${y0}l-26-15v30z`) : '')
    this.plumb.setAttribute('d', off ? '' : `M${bx} ${top}V${y0}`)
    for (const r of store.rests) {
      if (!Number.isFinite(r.v) || !calm.matches && yAt(r.t) > h + 10) continue
      const rx = sc.at(m.into(r.v)), ry = calm.matches ? h - 26 : yAt(r.t), out = r.out
      if (rx < -20 || rx > w + 20) continue
      this.marks.append(s('rect', { class: out ? 'rest out' : 'rest', x: rx - 9, y: ry - 9, width: 18, height: 18, rx: out ? 0 : 3 }))
      if (out) this.marks.append(s('path', { class: 'whisk', d: `M${rx - 9} ${ry - 9}l18 18M${rx + 9} ${ry - 9}l-18 18` }))
    }
  }
}
