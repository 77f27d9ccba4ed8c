const raw = document.getElementById('raw')
new EventSource('/events').addEventListener('state', e => { raw.textContent = JSON.stringify(JSON.parse(e.data), null, 1) })
