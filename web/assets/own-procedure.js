// Reads a file chosen on this device into the text that is sent: without scripts it is pasted.
const label = document.getElementById('file'), text = document.querySelector('textarea[name=text]');
label.hidden = false;
label.querySelector('input').addEventListener('change', async (e) => {
  const f = e.target.files[0];
  if (f) text.value = await f.text();
});
