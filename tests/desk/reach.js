// Which controls cannot be reached: covered, cut, outside the window, too small for a finger, in too small a type.
() => {
  const bad = [];
  const modal = document.querySelector('dialog[open]');
  const root = modal ?? document.querySelector('.pop:not([hidden])') ?? document;
  const coarse = matchMedia('(pointer: coarse)').matches;
  for (const one of root.querySelectorAll('button, select, input, textarea, summary, a[href], canvas[tabindex], [role=option]:nth-child(-n+3), [role=option]:last-child, label.button')) {
    if (one.disabled || one.closest('[hidden]') || one.classList.contains('unseen') || !one.checkVisibility({visibilityProperty:true})) continue;
    // whatever scrolls is scrolled there
    one.scrollIntoView({block: 'nearest', inline: 'nearest'});
    const box = one.getBoundingClientRect();
    const name = one.id || one.dataset.name || one.dataset.open || one.textContent.slice(0, 25) || one.getAttribute('aria-label');
    if (box.width < 2 || box.height < 2) { bad.push([name, 'no size', box.width, box.height]); continue; }
    if (box.left < -1 || box.top < -1 || box.right > innerWidth + 1 || box.bottom > innerHeight + 1) {
       if (box.height < innerHeight) bad.push([name, 'outside', Math.round(box.left), Math.round(box.top), Math.round(box.right), Math.round(box.bottom)]); }
    const spots = [[.5,.5],[.15,.5],[.85,.5],[.5,.2],[.5,.8]];
    for (const [fx, fy] of spots) {
      const hit = document.elementFromPoint(box.left + fx*box.width, box.top + fy*box.height);
      if (!hit || !(one.contains(hit) || hit.contains(one) && hit.tagName==='LABEL' || hit.closest('label')?.contains(one))) { bad.push([name, 'covered', fx, fy, hit?.id || hit?.tagName+'.'+hit?.className]); break; }
    }
    if (one.scrollWidth > one.clientWidth + 2 && one.tagName === 'BUTTON' ) bad.push([name, 'text cut', one.scrollWidth, one.clientWidth]);
    if (coarse && one.tagName !== 'INPUT' && one.tagName !== 'A' && one.tagName!=='CANVAS' && (box.height < 43.5 || box.width < 24)) bad.push([name, 'small', Math.round(box.width), Math.round(box.height)]);
    if (parseFloat(getComputedStyle(one).fontSize) < 15) bad.push([name, 'type', getComputedStyle(one).fontSize]);
  }
  if (document.documentElement.scrollWidth > innerWidth + 1) bad.push(['page', 'wider than the window', document.documentElement.scrollWidth]);
  return bad;
}
