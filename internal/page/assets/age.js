// How old a value is, and whether it still counts. A gauge that streams is
// late before a second is over, or where it is slower than that after two and a
// half of its own intervals; one that sends on change or on a press keeps its
// value for as long as its line is up and the page hears the bench.

import { store } from './store.js'

// Seconds without news after which a value looks old. With the page's own tick
// it does so within a second. The bench lets itself be heard every 0.4 s.
export const LATE = 0.8

export function ageOf(name) {
  const g = store.gauges.get(name)
  return g && g.came > -1e8 ? (performance.now() - g.came) / 1000 : Infinity
}

const heardAge = () => (performance.now() - store.heard) / 1000

// late tells whether a value must look old.
export function late(name) {
  const g = store.gauges.get(name)
  if (!g || g.value === undefined) return true
  if (store.link !== 'up' || heardAge() > LATE || g.link && g.link !== 'up') return ageOf(name) > LATE
  if (g.sends === 'change' || g.sends === 'press') return false
  return ageOf(name) > Math.max(LATE, 2.5 * (g.every ?? 0))
}

export function ageWords(seconds) {
  if (!Number.isFinite(seconds)) return 'never'
  if (seconds < 10) return `${Math.max(0, seconds).toFixed(1)} s`
  if (seconds < 120) return `${Math.floor(seconds)} s`
  if (seconds < 7200) return `${Math.floor(seconds / 60)} min`
  return `${Math.floor(seconds / 3600)} h`
}

// says is the age in a few words, naming why an old value still counts.
export function says(name) {
  const g = store.gauges.get(name)
  const a = ageWords(ageOf(name))
  if (!g || g.value === undefined) return 'no reading yet'
  if (late(name)) return `old: ${a} ago`
  if (g.sends === 'press') return `pressed ${a} ago`
  if (g.sends === 'change') return `held ${a}`
  return `${a} ago`
}
