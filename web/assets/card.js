// The card prints itself once when it was just made; the button prints it again.
const b = document.getElementById('print');
b.hidden = false;
b.addEventListener('click', () => print());
