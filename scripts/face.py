#!/usr/bin/env python3
"""Draws the page's own face, 'Scribe': figures and capitals as a round cutter
would engrave them, all figures of one width. A face of our own makes the height
of a digit the same on every computer, so that the page can promise how large it
is across the room.

    apt-get install python3-fonttools python3-shapely python3-brotli
    /usr/bin/python3 scripts/face.py internal/page/assets/scribe.woff2
"""
import math
import sys

from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.polygon import orient
from shapely.ops import unary_union

W, H, CUT, SIDE = 356, 636, 104, 46  # centre-line box, cutter width, side bearing
CAP = H + CUT
UNITS = 1000


def stroke(*points, closed=False):
    """A polyline of (x, y[, radius]); corners with a radius are rounded."""
    pts = [(p[0], p[1], p[2] if len(p) > 2 else 0) for p in points]
    n, out = len(pts), []
    for i, (x, y, r) in enumerate(pts):
        if r == 0 or (not closed and i in (0, n - 1)):
            out.append((x, y))
            continue
        (ax, ay, _), (bx, by, _) = pts[i - 1], pts[(i + 1) % n]
        la, lb = math.hypot(ax - x, ay - y), math.hypot(bx - x, by - y)
        ua, ub = ((ax - x) / la, (ay - y) / la), ((bx - x) / lb, (by - y) / lb)
        half = math.acos(max(-1, min(1, ua[0] * ub[0] + ua[1] * ub[1]))) / 2
        t = min(r / math.tan(half), la, lb)
        r = t * math.tan(half)
        m = (ua[0] + ub[0], ua[1] + ub[1])
        lm = math.hypot(*m)
        d = r / math.sin(half)
        cx, cy = x + m[0] / lm * d, y + m[1] / lm * d
        a0 = math.atan2(y + ua[1] * t - cy, x + ua[0] * t - cx)
        a1 = math.atan2(y + ub[1] * t - cy, x + ub[0] * t - cx)
        while a1 - a0 > math.pi:
            a1 -= 2 * math.pi
        while a1 - a0 < -math.pi:
            a1 += 2 * math.pi
        for k in range(13):
            a = a0 + (a1 - a0) * k / 12
            out.append((cx + r * math.cos(a), cy + r * math.sin(a)))
    if closed:
        out.append(out[0])
    return LineString(out).buffer(CUT / 2, 6)


def box(x0, y0, x1, y1, r):
    return stroke((x0, y0, r), (x1, y0, r), (x1, y1, r), (x0, y1, r), closed=True)


def dot(x, y, r=64):
    return Point(x, y).buffer(r, 6)


SIX = [box(0, 0, W, 384, 172), stroke((262, H), (0, 400, 180), (0, 190))]


def turned(shapes):
    from shapely.affinity import rotate
    return [rotate(s, 180, origin=(W / 2, H / 2)) for s in shapes]


M = W / 2
GLYPHS = {
    '0': [box(0, 0, W, H, 176)],
    '1': [stroke((40, 500), (196, H), (196, 0))],
    '2': [stroke((0, 486), (0, H, 172), (W, H, 172), (W, 396, 130), (0, 0), (W, 0))],
    '3': [stroke((14, H), (W - 14, H), (150, 376), (W, 376, 180), (W, 0, 180), (0, 0, 170), (0, 118))],
    '4': [stroke((268, 0), (268, H), (0, 178), (W + 14, 178))],
    '5': [stroke((W - 26, H), (34, H), (20, 366), (W, 384, 184), (W, 0, 184), (0, 0, 166), (0, 104))],
    '6': SIX,
    '7': [stroke((0, H), (W, H), (112, 0))],
    '8': [box(24, 344, W - 24, H, 140), box(0, 0, W, 344, 168)],
    '9': turned(SIX),
    'A': [stroke((0, 0), (M, H), (W, 0)), stroke((62, 196), (W - 62, 196))],
    'B': [stroke((0, 340), (270, 340), (W - 20, 340, 140), (W - 20, H, 140), (0, H), (0, 0), (W, 0, 160), (W, 340, 160), (200, 340))],
    'C': [stroke((W, 474), (W, H, 172), (0, H, 176), (0, 0, 176), (W, 0, 172), (W, 162))],
    'D': [stroke((0, 0), (W, 0, 210), (W, H, 210), (0, H), closed=True)],
    'E': [stroke((W - 10, H), (0, H), (0, 0), (W - 10, 0)), stroke((0, 330), (W - 62, 330))],
    'F': [stroke((W - 10, H), (0, H), (0, 0)), stroke((0, 320), (W - 62, 320))],
    'G': [stroke((W, 490), (W, H, 172), (0, H, 176), (0, 0, 176), (W, 0, 172), (W, 292), (208, 292))],
    'H': [stroke((0, 0), (0, H)), stroke((W, 0), (W, H)), stroke((0, 326), (W, 326))],
    'I': [stroke((M, 0), (M, H))],
    'J': [stroke((W - 20, H), (W - 20, 0, 172), (0, 0, 160), (0, 150))],
    'K': [stroke((0, 0), (0, H)), stroke((W, H), (30, 300)), stroke((120, 384), (W, 0))],
    'L': [stroke((0, H), (0, 0), (W - 20, 0))],
    'M': [stroke((-30, 0), (-30, H), (M, 250), (W + 30, H), (W + 30, 0))],
    'N': [stroke((0, 0), (0, H), (W, 0), (W, H))],
    'O': [box(0, 0, W, H, 176)],
    'P': [stroke((0, 0), (0, H), (W, H, 172), (W, 280, 172), (0, 280))],
    'Q': [box(0, 0, W, H, 176), stroke((210, 160), (W + 20, -40))],
    'R': [stroke((0, 0), (0, H), (W, H, 166), (W, 300, 166), (0, 300)), stroke((180, 300), (W, 0))],
    'S': [stroke((W - 8, 500), (W - 8, H, 150), (8, H, 160), (8, 338, 150), (W, 338, 160), (W, 0, 170), (0, 0, 160), (0, 128))],
    'T': [stroke((-10, H), (W + 10, H)), stroke((M, H), (M, 0))],
    'U': [stroke((0, H), (0, 0, 176), (W, 0, 176), (W, H))],
    'V': [stroke((0, H), (M, 0), (W, H))],
    'W': [stroke((-40, H), (72, 0), (M, 440), (W - 72, 0), (W + 40, H))],
    'X': [stroke((0, 0), (W, H)), stroke((0, H), (W, 0))],
    'Y': [stroke((0, H), (M, 290), (W, H)), stroke((M, 290), (M, 0))],
    'Z': [stroke((0, H), (W, H), (0, 0), (W, 0))],
    '\u2212': [stroke((20, 318), (210, 318))],  # the true minus, in the narrow place kept for it
    '+': [stroke((20, 318), (W - 20, 318)), stroke((M, 160), (M, 476))],
    '-': [stroke((40, 318), (W - 40, 318))],
    '<': [stroke((W - 30, 560), (30, 318), (W - 30, 76))],
    '>': [stroke((30, 560), (W - 30, 318), (30, 76))],
    '=': [stroke((20, 400), (W - 20, 400)), stroke((20, 230), (W - 20, 230))],
    '/': [stroke((40, -50), (W - 40, H + 50))],
    '.': [dot(0, 12)], ',': [dot(0, 12), stroke((12, 0), (-30, -110))],
    ':': [dot(0, 120), dot(0, 440)],
    '±': [stroke((20, 380), (W - 20, 380)), stroke((M, 230), (M, 530)), stroke((20, 80), (W - 20, 80))],
    '×': [stroke((40, 180), (W - 40, 456)), stroke((40, 456), (W - 40, 180))],
    '?': [stroke((0, 486), (0, H, 172), (W, H, 172), (W, 350, 150), (M, 330, 40), (M, 200)), dot(M, 12)],
}
# The figures and what stands among them share one width, so that nothing moves.
TABULAR = set('0123456789+-<>=±×')
WIDTH = W + CUT + 2 * SIDE
NARROW = {'.': 232, ',': 232, ':': 260, 'I': 300, '\u2212': 384}


def rings(shape):
    for p in getattr(shape, 'geoms', [shape]):
        p = orient(Polygon(p.exterior, p.interiors), -1)
        yield p.exterior.coords
        for i in p.interiors:
            yield i.coords


def main(path):
    names, cmap, glyphs, metrics = ['.notdef', 'space'], {32: 'space', 0xA0: 'space', 0x2007: 'figurespace', 0x2009: 'thinspace'}, {}, {}
    glyphs['.notdef'] = glyphs['space'] = glyphs['figurespace'] = glyphs['thinspace'] = TTGlyphPen(None).glyph()
    metrics['.notdef'], metrics['space'], metrics['figurespace'], metrics['thinspace'] = (WIDTH, 0), (300, 0), (WIDTH, 0), (384, 0)
    names += ['figurespace', 'thinspace']
    for ch, shapes in GLYPHS.items():
        shape = unary_union(shapes).simplify(0.9)
        x0, _, x1, _ = shape.bounds
        width = WIDTH if ch in TABULAR else NARROW.get(ch, round(x1 - x0 + 2 * SIDE))
        dx = (width - (x0 + x1)) / 2 if ch not in TABULAR else SIDE + CUT / 2
        pen = TTGlyphPen(None)
        for ring in rings(shape):
            pts = [(round(x + dx), round(y + CUT / 2)) for x, y in ring[:-1]]
            pen.moveTo(pts[0])
            for p in pts[1:]:
                pen.lineTo(p)
            pen.closePath()
        name = f'u{ord(ch):04X}'
        names.append(name)
        cmap[ord(ch)] = name
        glyphs[name] = pen.glyph()
        metrics[name] = (width, round(x0 + dx))
    fb = FontBuilder(UNITS, isTTF=True)
    fb.setupGlyphOrder(names)
    fb.setupCharacterMap(cmap)
    fb.setupGlyf(glyphs)
    fb.setupHorizontalMetrics(metrics)
    fb.setupHorizontalHeader(ascent=860, descent=-160)
    fb.setupNameTable({'familyName': 'Scribe', 'styleName': 'Regular', 'psName': 'Scribe-Regular'})
    fb.setupOS2(sTypoAscender=860, sTypoDescender=-160, usWinAscent=860, usWinDescent=160, sCapHeight=CAP, sxHeight=520)
    fb.setupPost()
    fb.font['head'].created = fb.font['head'].modified = 3700000000  # the same file each time
    fb.font.recalcTimestamp = False
    fb.font.flavor = 'woff2'
    fb.save(path)


if __name__ == '__main__':
    main(sys.argv[1])
