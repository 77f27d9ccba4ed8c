// What the page knows: the last state, the last reading of each gauge with the
// moment it came, and the trail of each gauge over the last seconds.

export const TRAIL = 14 // seconds kept

export const store = {
  state: null,
  link: 'opening', // opening, up, lost
  heard: 0,        // performance.now() of the last byte of the stream
  gauges: new Map(), // name: {value, unit, mm, seq, fault, state, elapsed, came, every, trail}
  rests: [],       // of the take in progress
  takeCame: 0,     // when a new take was first seen
}

const listeners = {}
export function on(event, f) { (listeners[event] ??= []).push(f) }
export function emit(event, data) { for (const f of listeners[event] ?? []) f(data) }

function gauge(name) {
  if (!store.gauges.has(name)) store.gauges.set(name, { trail: [], came: -1e9 })
  return store.gauges.get(name)
}

// began is the performance.now() of a moment the daemon says was then seconds
// before now seconds on its own clock.
const began = (now, then) => performance.now() - Math.max(0, Number(now) - Number(then)) * 1000

let lastSeen = null, active = '', leftOut = 0

export function setState(st) {
  store.state = st
  for (const g of st.gauges ?? []) {
    const k = gauge(g.name)
    Object.assign(k, { sends: g.sends, step: g.step, link: g.link })
    if (g.elapsed_s !== '' && !(Number(g.seq) < k.seq && Number(g.elapsed_s) >= k.elapsed)) {
      if (Number(g.elapsed_s) < k.elapsed) k.trail = [] // the daemon began anew
      if (Number(g.seq) !== k.seq || k.elapsed !== Number(g.elapsed_s)) k.came = began(st.elapsed_s, g.elapsed_s)
      Object.assign(k, { value: g.value, unit: g.unit, mm: g.mm, seq: Number(g.seq), fault: g.fault, state: g.state, raw: g.raw, elapsed: Number(g.elapsed_s) })
    }
  }
  const t = st.last_take?.take ?? ''
  if (lastSeen !== null && t !== lastSeen) { store.takeCame = performance.now(); store.rests = [] }
  if (lastSeen === null && t) store.takeCame = performance.now() - Math.max(0, Date.parse(st.time) - Date.parse(st.last_take.time) || 0)
  lastSeen = t
  const a = st.active ? [st.stage, st.active.component, st.active.check, st.active.position].join('\n') : ''
  if (a !== active) store.rests = []
  active = a
  const out = st.active?.left_out ?? 0
  if (out > leftOut && store.rests.length) store.rests.at(-1).out = true
  leftOut = out
  emit('state', st)
}

export function addReading(r) {
  const g = gauge(r.gauge)
  const t = Number(r.elapsed_s)
  const gap = t - g.elapsed // its usual interval: a pause of many is none
  if (gap > 0 && gap < 10) g.every = g.every === undefined ? gap : g.every + 0.3 * (Math.min(gap, 3 * g.every) - g.every)
  Object.assign(g, { value: r.value, unit: r.unit || g.unit, mm: r.mm, seq: Number(r.seq), fault: r.state === 'fault' ? (r.fault || 'fault') : '', state: r.state, raw: r.raw, elapsed: t, came: performance.now() })
  if (r.value !== '' && r.state !== 'fault') {
    const v = Number(r.mm ? r.mm : r.value)
    const minus = store.state?.active?.gauge === r.gauge && store.state.active.minus
    g.trail.push({ t, v: minus ? v - (gauge(minus).trail.at(-1)?.v ?? NaN) : v }) // mm where it is a length
    while (g.trail.length && g.trail[0].t < t - TRAIL) g.trail.shift()
  }
  emit('reading', r.gauge)
}

// addRest keeps where the part rested. Its place is what the gauge said just
// before, in mm as the trail.
export function addRest(r) {
  const t = Number(r.elapsed_s ?? r.t), trail = gauge(r.gauge ?? store.state?.active?.gauge).trail
  const near = trail.filter(p => p.t <= t + 0.01 && p.t > t - 0.4)
  const last = near.length ? near : trail.slice(-1)
  store.rests.push({ t, v: last.reduce((sum, p) => sum + p.v, 0) / last.length, out: false })
  if (store.rests.length > 60) store.rests.shift()
  emit('rest', r)
}

export function addTake(t) { emit('take', t) }

export function setLink(l) {
  if (store.link === l) return
  store.link = l
  document.body.dataset.link = l
  emit('link', l)
}
