// The verdicts' shapes. Pass: a shaft seated in its bore. Fail: a part in two,
// its points away from each other when too loose, against each other when too
// tight. Undecided: a ring filled by half. None of them needs its colour.

import { s } from './dom.js'

const draw = {
  pass: () => [s('circle', { class: 'ring', cx: 50, cy: 50, r: 44.5 }), s('circle', { cx: 50, cy: 50, r: 30 })],
  loose: () => [s('path', { d: 'M45 0v100L0 50z' }), s('path', { d: 'M55 0v100l45-50z' })],
  tight: () => [s('path', { d: 'M0 0v100l45-50z' }), s('path', { d: 'M100 0v100L55 50z' })],
  undecided: () => [s('circle', { class: 'ring', cx: 50, cy: 50, r: 44.5 }), s('path', { d: 'M50 10a40 40 0 0 0 0 80z' })],
  none: () => [s('path', { class: 'thin', d: 'M14 14h72v72H14zM14 50h72' })],
  rock: () => [s('path', { d: 'M4 8h16v84H4zM80 8h16v84H80z' }), s('path', { class: 'thin', d: 'M28 50h44M40 36L27 50l13 14M60 36l13 14-13 14' })],
  turn: () => [s('circle', { class: 'thin', cx: 50, cy: 54, r: 40 }), s('circle', { cx: 50, cy: 54, r: 14 }), s('path', { d: 'M42 0l30 14-30 14z' })],
  measure: () => [s('path', { d: 'M4 8h16v84H4zM80 8h16v84H80z' }), s('circle', { cx: 50, cy: 50, r: 17 })],
  wait: () => [s('path', { class: 'ring', d: 'M50 6v60M24 42l26 27 26-27M8 92h84' })],
  tighten: () => [s('path', { class: 'ring', d: 'M22 78a40 40 0 1 1 56 0' }), s('path', { d: 'M98 66L64 96 62 60z' })],
  slacken: () => [s('path', { class: 'ring', d: 'M78 78a40 40 0 1 0-56 0' }), s('path', { d: 'M2 66l34 30 2-36z' })],
  hold: () => [s('path', { d: 'M8 20h84v20H8zM8 60h84v20H8z' })],
  lock: () => [s('path', { d: 'M14 44h72v52H14z' }), s('path', { class: 'ring', d: 'M28 46V30a22 22 0 0 1 44 0v16' })],
  done: () => [s('path', { class: 'ring', d: 'M8 54l26 30L92 16' })],
  lost: () => [s('path', { class: 'ring', d: 'M4 50h28M68 50h28' }), s('path', { class: 'thin', d: 'M38 30l24 40M62 30L38 70' })],
}

// shapeOf is a take's shape. A play below its limits is too tight, and so is a
// drag above its own.
export function shapeOf(verdict, side, method) {
  if (verdict === 'fail') return (side === 'below') === (method !== 'drag') ? 'tight' : 'loose'
  return verdict || 'none'
}

export const shape = (name, props) => s('svg', { class: 'shape', viewBox: '0 0 100 100', 'aria-hidden': 'true', ...props }, (draw[name] ?? draw.none)())
