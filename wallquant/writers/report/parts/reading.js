// The pictures of the reading are on the page as they are; here they only grow and shrink.
document.querySelectorAll('[data-reading]').forEach((button) => {
  const picture = button.closest('.storey').querySelector('.sheet svg');
  if (!picture) {
    button.parentNode.hidden = true;
    return;
  }
  const [, , wide, high] = picture.getAttribute('viewBox').split(' ').map(Number);
  button.addEventListener('click', () => {
    const now = zoomed(Number(picture.dataset.zoom ?? 1), button.dataset.reading);
    picture.dataset.zoom = now;
    picture.setAttribute('width', (wide * now).toFixed(1));
    picture.setAttribute('height', (high * now).toFixed(1));
  });
});
