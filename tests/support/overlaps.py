"""Script for a browser: which words in the charts and strips of a page lie over each other."""

from __future__ import annotations

OVERLAPS = """() => {
    const found = [];
    const box = e => e.getBoundingClientRect();
    const seen = e => e.checkVisibility({visibilityProperty: true}) && e.textContent.trim() && box(e).width > 1;
    const pairs = (words, where) => words.forEach((a, k) => words.slice(k + 1).forEach(b => {
        const [p, q] = [box(a), box(b)];
        const wide = Math.min(p.right, q.right) - Math.max(p.left, q.left);
        const high = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
        if (wide > 1.5 && high > 1.5)
            found.push(`${where}: "${a.textContent.trim()}" over "${b.textContent.trim()}", `
                + `${wide.toFixed(0)} x ${high.toFixed(0)} px`);
    }));
    for (const chart of document.querySelectorAll('.js-plotly-plot')) {
        const words = [...chart.querySelectorAll('svg text')].filter(e => seen(e) && !e.closest('.hoverlayer'));
        pairs(words, 'chart');
        const size = box(chart);
        for (const one of words) {
            const b = box(one);
            if (b.left < size.left - 1 || b.right > size.right + 1
                || b.top < size.top - 1 || b.bottom > size.bottom + 1)
                found.push(`chart: "${one.textContent.trim()}" leaves it`);
        }
    }
    const along = '.tick, .zone-name, .name, .all';
    for (const strip of document.querySelectorAll('.wi-strip .scale, .wi-wash, .wi-close .track'))
        pairs([...strip.querySelectorAll(along)].filter(seen), 'strip');
    return found;
}"""
