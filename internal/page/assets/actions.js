// What a person can do, by finger, key or pedal: one command each.

import { h, $, meta } from './dom.js'

const token = meta('token')
export const mayWork = token !== ''

let timer = 0
export function toast(words, bad = false) {
  const box = $('#toast')
  box.replaceChildren(h('p', { class: bad ? 'bad' : '' }, words))
  clearTimeout(timer)
  timer = setTimeout(() => box.replaceChildren(), bad ? 9000 : 3500)
}

// post sends one JSON body, or a file as it is, and gives the answer, or null after saying why not.
export async function post(path, body = {}) {
  try {
    const file = body instanceof Blob
    const headers = { 'Content-Type': file ? 'application/octet-stream' : 'application/json' }
    if (token) headers.Authorization = `Bearer ${token}`
    const res = await fetch(path, { method: 'POST', headers, body: file ? body : JSON.stringify(body) })
    const answer = await res.json().catch(() => ({}))
    if (res.ok) return answer
    if (answer.error) toast(answer.error, true)
    else toast(`the bench answered ${res.status}`, true)
  } catch {
    toast('not sent: the bench cannot be reached', true)
  }
  return null
}

export async function act(what, body, said) {
  if (!mayWork) { toast('this screen may look but not change: pair it with the other code', true); return null }
  const ok = await post('/api/' + what, body)
  if (ok && said) toast(said)
  return ok
}

export const get = path => fetch(path, { cache: 'no-store' }).then(async r => {
  const a = await r.json().catch(() => ({}))
  if (!r.ok) throw new Error(a.error ?? `the bench answered ${r.status}`)
  return a
})
