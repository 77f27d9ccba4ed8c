// The one word the bench view says at a time: a verdict just given, how the
// adjuster must go, which gauge is gone, how many strokes are done, or what to do.

import { shapeOf } from './shapes.js'
import { result, range } from './units.js'

const FRESH = 30 // seconds a verdict stays while nothing newer has begun

// NONE is what to do on a bench without a gauge.
export const NONE = 'The bench file names no gauge. Plug one in and run “thouwright ports” and “thouwright sniff”.'

// What is done with the part, as a shape.
const HANDS = { size: 'measure', 'run-out': 'turn', drag: 'turn' }
const WORDS = { play: 'ROCK IT', 'end-play': 'PUSH PULL', 'run-out': 'TURN IT', size: 'MEASURE', drag: 'TURN IT', derived: 'DERIVED' }

export function verdictWord(v) { return { pass: 'PASS', fail: 'FAIL', undecided: 'UNDECIDED' }[v] ?? 'NO LIMITS' }

// takeLine is a take in one line: where, result, permitted.
export function takeLine(t, display) {
  const r = result(t.result, t.u95, t.unit, display)
  return `${t.position || t.component}: ${r.text}${r.u ? ` ± ${r.u}` : ''} ${r.unit}, permitted ${range(t.low, t.high, t.unit, display)}`
}

function verdict(t, st) {
  const asks = (st.suggest ?? []).find(s => t.verdict !== 'pass' && s.component === t.component && s.check === t.check && s.position.includes(t.position))
  const lines = [t.say || '', t.settles ? `would decide it: ${t.settles}` : '', takeLine(t, st.unit)].filter(Boolean)
  return { take: t, kind: t.verdict || 'none', word: verdictWord(t.verdict), shape: shapeOf(t.verdict, t.side, t.method), lines, asks }
}

const same = (t, st) => t.component === st.active?.component && t.check === st.active?.check && t.position === st.active?.position && t.stage === st.stage

// absent is the gauge of the check at hand that says nothing now, as a headline.
function absent(st) {
  const g = (st.gauges ?? []).find(g => g.link !== 'up' && (g.name === st.active.gauge || g.name === st.active.minus))
  return g && { kind: 'quiet', word: g.link === 'silent' ? 'SILENT' : 'NO GAUGE', shape: 'lost', lines: [`${g.name}: ${g.message || g.link}`] }
}

// headline decides from the state and the seconds since the last take came.
export function headline(st, sinceTake) {
  const a = st.active, t = st.last_take
  if (!st.gauges?.length) return { kind: 'quiet', word: 'NO GAUGE', shape: 'lost', lines: [NONE] }
  if (!a) {
    if (t && sinceTake < FRESH) return verdict(t, st)
    if (!st.job) return { kind: 'quiet', word: 'NO JOB', shape: 'none', lines: ['Measure at once, or choose or make a job.'] }
    return { kind: 'quiet', word: 'DONE', shape: 'done', lines: ['Every position of this job is measured.'] }
  }
  const fresh = t && sinceTake < FRESH
  const gone = a.phase !== 'done' && !(fresh && a.strokes === 0) && absent(st)
  if (gone) return gone
  switch (a.phase) {
    case 'waiting':
      if (t && (fresh || same(t, st))) return verdict(t, st)
      return { kind: 'quiet', word: 'MOVE', shape: 'wait', lines: [a.say || `Set the gauge at: ${a.position}`] }
    case 'done':
      if (fresh) return verdict(t, st)
      return { kind: 'quiet', word: 'DONE', shape: 'done', lines: [a.say || 'Every position of this job is measured.'] }
    case 'adjusting':
      if (a.guide) return guide(a, t, st)
      if (fresh && a.strokes === 0) return verdict(t, st)
      break
    case 'ready':
      if (fresh && a.strokes === 0) return verdict(t, st)
      return { kind: 'quiet', word: WORDS[a.method] ?? 'READY', shape: HANDS[a.method] ?? 'rock', lines: [a.say].filter(Boolean) }
  }
  if (fresh && a.strokes === 0 && same(t, st)) return verdict(t, st)
  return { kind: 'quiet', word: `${a.strokes}/${a.wanted || '?'}`, shape: HANDS[a.method] ?? 'rock', pips: { strokes: a.strokes, wanted: a.wanted, left_out: a.left_out }, lines: [a.reason || a.say].filter(Boolean) }
}

// A drag above its band is too tight, a play above its own too loose.
const tooWords = method => (method === 'drag' ? { below: 'too loose', above: 'too tight' } : { below: 'too tight', above: 'too loose' })

function guide(a, t, st) {
  const way = a.guide.way || 'hold'
  const word = { tighten: 'TIGHTEN', slacken: 'SLACKEN', hold: 'HOLD', lock: 'LOCK IT' }[way] ?? way.toUpperCase()
  const where = { ...tooWords(a.method), in: a.guide.sure ? 'inside the limits, surely' : 'inside the limits, not yet surely' }[a.guide.where] ?? ''
  const lines = [[a.guide.turn, where].filter(Boolean).join(', ')]
  if (a.guide.now) lines.push(a.guide.now)
  if (a.say) lines.push(a.say)
  if (t && same(t, st)) lines.push(`last take: ${verdictWord(t.verdict).toLowerCase()}`)
  return { kind: a.guide.where === 'in' && a.guide.sure ? 'pass' : 'quiet', word, shape: way, lines: lines.filter(Boolean), guide: a.guide }
}
