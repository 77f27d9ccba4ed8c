import { h } from './dom.js'
export function sums() { return h('section', { class: 'wide' }, h('h1', null, 'Sums')) }
