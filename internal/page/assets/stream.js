// The event stream, read by hand so that the beat (a comment line every 0.4 s)
// is seen: a quiet bench and a lost one must not look the same.

import { store, setState, addReading, addRest, addTake, setLink, emit } from './store.js'
import { meta } from './dom.js'

const LOST = 2500 // ms without a byte
export const TICK = 200 // ms
let abort = null, tries = 0

const handlers = { state: setState, reading: addReading, rest: addRest, take: addTake, fault: f => emit('fault', f) }

function event(block) {
  let name = 'message', data = ''
  for (const line of block.split('\n')) {
    if (line.startsWith('event: ')) name = line.slice(7)
    else if (line.startsWith('data: ')) data += line.slice(6)
  }
  if (data) handlers[name]?.(JSON.parse(data))
}

async function connect() {
  abort = new AbortController()
  const mine = abort
  try {
    const res = await fetch('/events', { signal: mine.signal, cache: 'no-store' })
    if (res.status === 401) return location.reload() // the bench has new codes: it says so itself
    if (!res.ok) throw new Error(String(res.status))
    const version = res.headers.get('Page-Version')
    if (version && version !== meta('version')) return location.reload() // a newer daemon brings a newer page
    const lines = res.body.pipeThrough(new TextDecoderStream()).getReader()
    let rest = ''
    for (;;) {
      const { value, done } = await lines.read()
      if (done || mine.signal.aborted) break
      store.heard = performance.now()
      tries = 0
      setLink('up')
      rest += value
      let at
      while ((at = rest.indexOf('\n\n')) >= 0) {
        event(rest.slice(0, at))
        rest = rest.slice(at + 2)
      }
    }
  } catch { /* lost, aborted or not there yet: all end in a new try */ }
  if (abort !== mine) return
  setTimeout(() => abort === mine && connect(), Math.min(2000, 150 * 2 ** tries++))
}

// again drops the present stream and opens a new one at once.
function again() {
  abort?.abort()
  tries = 0
  connect()
}

let lastTick = Date.now()
function tick() {
  const now = Date.now()
  const slept = now - lastTick > 3000 // timers stood still: the tablet slept
  lastTick = now
  const silent = performance.now() - store.heard
  if (slept || (store.heard > 0 && silent > LOST)) {
    if (store.link === 'up') { setLink('lost'); again() }
  }
  emit('tick')
}

export function start() {
  connect()
  setInterval(tick, TICK)
  setTimeout(() => { if (store.heard === 0) setLink('lost') }, LOST)
  for (const e of ['online', 'pageshow']) addEventListener(e, () => { if (performance.now() - store.heard > 1500) again() })
  document.addEventListener('visibilitychange', () => {
    if (!document.hidden && performance.now() - store.heard > 1500) { if (store.heard) setLink('lost'); again() }
  })
}
