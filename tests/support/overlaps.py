"""Script for a browser: which words of a page lie over each other, leave their place or are cut off."""

from __future__ import annotations

OVERLAPS = """() => {
    const found = [];
    const box = e => e.getBoundingClientRect();
    const seen = e => e.checkVisibility({visibilityProperty: true, opacityProperty: true}) && e.textContent.trim()
        && box(e).width > 1;
    const meet = (p, q) => [Math.min(p.right, q.right) - Math.max(p.left, q.left),
        Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top)];
    const said = e => e.textContent.trim().replace(/\\s+/g, ' ').slice(0, 60);
    const pairs = (words, where) => words.forEach((a, k) => words.slice(k + 1).forEach(b => {
        const [wide, high] = meet(box(a), box(b));
        if (wide > 1.5 && high > 1.5)
            found.push(`${where}: "${said(a)}" over "${said(b)}", ${wide.toFixed(0)} x ${high.toFixed(0)} px`);
    }));
    for (const chart of document.querySelectorAll('.js-plotly-plot')) {
        const words = [...chart.querySelectorAll('svg text')].filter(e => seen(e) && !e.closest('.hoverlayer'));
        pairs(words, 'chart');
        const size = box(chart);
        for (const one of words) {
            const b = box(one);
            if (b.left < size.left - 1 || b.right > size.right + 1
                || b.top < size.top - 1 || b.bottom > size.bottom + 1)
                found.push(`chart: "${said(one)}" leaves it`);
        }
    }
    const along = '.tick, .zone-name, .name, .all';
    for (const strip of document.querySelectorAll('.wi-strip .scale, .wi-wash, .wi-close .track'))
        pairs([...strip.querySelectorAll(along)].filter(seen), 'strip');

    // words outside charts: each line of each piece of text
    const main = document.querySelector('[data-testid="stMain"]');
    const walk = document.createTreeWalker(main, NodeFilter.SHOW_TEXT);
    const lines = [];
    // not the charts, nor the bar of pages, whose row slides below its button, nor what only screen readers get
    const apart = '.js-plotly-plot, script, style, .wi-bar, [data-testid="stTooltipIcon"]';
    const kept = e => {
        if (e.closest(apart)) return false;
        for (let up = e; up && up !== main; up = up.parentElement)
            if (getComputedStyle(up).overflowX === 'hidden' && up.offsetWidth <= 2) return false;
        return true;
    };
    while (walk.nextNode()) {
        const one = walk.currentNode.parentElement;
        if (!walk.currentNode.data.trim() || !kept(one) || !seen(one)) continue;
        const range = document.createRange();
        range.selectNodeContents(walk.currentNode);
        for (const b of range.getClientRects()) if (b.width > 2 && b.height > 2) lines.push([one, b]);
    }
    const scrolls = style => ['auto', 'scroll'].includes(style);
    for (const [one, b] of lines) {
        let free = getComputedStyle(one).position;
        for (let up = one; up && up !== main; up = up.parentElement) {
            const style = getComputedStyle(up), room = box(up);
            if (scrolls(style.overflowX) && up.scrollWidth > up.clientWidth + 1) { free = 'scrolls'; break; }
            if (style.overflowX === 'visible' && style.overflowY === 'visible') continue;
            if (b.right > room.right + 2 || b.left < room.left - 2
                || (!scrolls(style.overflowY) && (b.bottom > room.bottom + 4 || b.top < room.top - 4))) {
                found.push(`words: "${said(one)}" is cut off`);
                free = 'cut';
                break;
            }
        }
        if (free !== 'scrolls' && (b.right > innerWidth + 1 || b.left < -1))
            found.push(`words: "${said(one)}" leaves the page`);
    }
    lines.sort((a, b) => a[1].top - b[1].top);
    lines.forEach(([a, p], k) => {
        for (const [b, q] of lines.slice(k + 1)) {
            if (q.top > p.bottom) break;
            const [wide, high] = meet(p, q);
            // lines of one paragraph stand close: their boxes are taller than their letters
            if (wide > 2 && high > 0.35 * Math.min(p.height, q.height) && !(a === b && p.top !== q.top))
                found.push(`words: "${said(a)}" over "${said(b)}", ${wide.toFixed(0)} x ${high.toFixed(0)} px`);
        }
    });
    return [...new Set(found)];
}"""
