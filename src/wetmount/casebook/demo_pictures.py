"""Pictures of the demonstration, drawn by code: what one sees in the hand and down the tube, in a few shapes."""

from __future__ import annotations

import io
import math
import random
from collections.abc import Callable

from PIL import Image, ImageDraw, ImageFilter

Point = tuple[float, float]
Colour = tuple[int, int, int]
WIDE, HIGH = 960, 720
CENTRE, RADIUS = (WIDE / 2, HIGH / 2), 330


def draw(name: str) -> io.BytesIO:
    """The drawing of this name as a JPEG. The same every time."""
    picture = DRAWINGS[name](random.Random(name))
    kept = io.BytesIO()
    picture.save(kept, "JPEG", quality=88)
    kept.seek(0)
    return kept


# --- down the tube ----------------------------------------------------------------------------------------------------


def _field(rng: random.Random, ground: Colour) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    """A lit field with mucus and scale edges a little out of focus."""
    picture = Image.new("RGB", (WIDE, HIGH), ground)
    pen = ImageDraw.Draw(picture)
    for _ in range(26):
        x, y = _inside(rng, RADIUS + 60)
        size = rng.uniform(20, 90)
        tone = rng.randint(-14, 10)
        pen.ellipse(
            (x - size, y - size * 0.6, x + size, y + size * 0.6),
            outline=_toned(ground, tone - 22),
            fill=_toned(ground, tone),
        )
    for _ in range(9):
        x, y = _inside(rng, RADIUS)
        pen.arc(
            (x - 150, y - 110, x + 150, y + 110),
            rng.randint(0, 180),
            rng.randint(190, 340),
            fill=_toned(ground, -40),
            width=3,
        )
    picture = picture.filter(ImageFilter.GaussianBlur(3))
    return picture, ImageDraw.Draw(picture)


def _down_the_tube(picture: Image.Image, rng: random.Random) -> Image.Image:
    """The round field in the dark, darker to its rim."""
    mask = Image.new("L", (WIDE, HIGH), 0)
    pen = ImageDraw.Draw(mask)
    for n in range(40):
        shrink = n * 2.4
        box = (
            CENTRE[0] - RADIUS + shrink,
            CENTRE[1] - RADIUS + shrink,
            CENTRE[0] + RADIUS - shrink,
            CENTRE[1] + RADIUS - shrink,
        )
        pen.ellipse(box, fill=min(255, 150 + n * 3))
    grain = Image.frombytes("L", (WIDE, HIGH), rng.randbytes(WIDE * HIGH)).convert("RGB")
    lit = Image.blend(picture, grain, 0.05)
    return Image.composite(lit, Image.new("RGB", (WIDE, HIGH), (6, 8, 7)), mask.filter(ImageFilter.GaussianBlur(1.5)))


def _flagellates(rng: random.Random) -> Image.Image:
    picture, pen = _field(rng, (206, 214, 196))
    for _ in range(150):
        x, y = _inside(rng, RADIUS)
        _leaf(pen, x, y, rng.uniform(9, 14), rng.uniform(0, math.tau), (92, 104, 88))
    _saucer(pen, 610, 290, 62)
    return _down_the_tube(picture, rng)


def _rolling(rng: random.Random) -> Image.Image:
    picture, pen = _field(rng, (214, 210, 190))
    for _ in range(9):
        x, y = _inside(rng, RADIUS - 60)
        size = rng.uniform(38, 74)
        box = (x - size, y - size, x + size, y + size)
        pen.ellipse(box, fill=(120, 104, 78), outline=(70, 58, 40), width=4)
        turn = rng.randint(0, 359)
        pen.arc(
            tuple(c + s * size * 0.45 for c, s in zip(box, (1, 1, -1, -1), strict=True)),
            turn,
            turn + 220,
            fill=(226, 214, 180),
            width=9,
        )
    return _down_the_tube(picture, rng)


def _flukes(rng: random.Random) -> Image.Image:
    picture, pen = _field(rng, (216, 200, 188))
    for n in range(14):  # gill lamellae
        x = 190 + n * 46
        pen.line([(x, 60), (x + 30, 660)], fill=(188, 128, 118), width=22)
    for x, y, turn in ((400, 300, 0.7), (560, 420, 2.2), (330, 480, -0.6), (620, 210, 1.3)):
        _worm(pen, x, y, 150, turn, (122, 106, 88), 26)
        head = (x + 75 * math.cos(turn), y + 75 * math.sin(turn))
        for dx, dy in ((-7, -5), (7, -5), (-5, 6), (5, 6)):  # four eye spots
            pen.ellipse((head[0] + dx - 3, head[1] + dy - 3, head[0] + dx + 3, head[1] + dy + 3), fill=(28, 22, 18))
    return _down_the_tube(picture.filter(ImageFilter.GaussianBlur(0.8)), rng)


def _rods(rng: random.Random) -> Image.Image:
    picture, pen = _field(rng, (204, 212, 204))
    for stack in ((380, 330), (560, 430), (500, 240)):
        for _ in range(190):
            turn = rng.gauss(-math.pi / 2, 0.5)
            x, y = stack[0] + rng.gauss(0, 34), stack[1] + rng.gauss(0, 44)
            length = rng.uniform(22, 40)
            pen.line([(x, y), (x + length * math.cos(turn), y + length * math.sin(turn))], fill=(74, 84, 78), width=2)
    return _down_the_tube(picture, rng)


def _granulomas(rng: random.Random) -> Image.Image:
    picture, pen = _field(rng, (196, 150, 132))
    for _ in range(11):
        x, y = _inside(rng, RADIUS - 40)
        size = rng.uniform(26, 62)
        for n, tone in enumerate(((132, 92, 72), (216, 182, 150), (168, 122, 92), (96, 64, 44))):
            ring = size * (1 - 0.24 * n)
            pen.ellipse((x - ring, y - ring * 0.94, x + ring, y + ring * 0.94), fill=tone)
    return _down_the_tube(picture, rng)


def _leaf(pen: ImageDraw.ImageDraw, x: float, y: float, size: float, turn: float, colour: Colour) -> None:
    """A small drop-shaped cell."""
    tip = (x + size * math.cos(turn), y + size * math.sin(turn))
    side = turn + math.pi / 2
    wide = size * 0.45
    pen.polygon(
        [tip, (x + wide * math.cos(side), y + wide * math.sin(side)),
         (x - size * 0.8 * math.cos(turn), y - size * 0.8 * math.sin(turn)),
         (x - wide * math.cos(side), y - wide * math.sin(side))], fill=colour,
    )  # fmt: skip


def _saucer(pen: ImageDraw.ImageDraw, x: float, y: float, size: float) -> None:
    """A ciliate from above: a disc with a ring of teeth and a fringe."""
    for n in range(48):
        turn = math.tau * n / 48

        def at(far: float, turn: float = turn) -> Point:
            return x + far * math.cos(turn), y + far * math.sin(turn)

        pen.line([at(size), at(size + 9)], fill=(96, 104, 92), width=2)
        pen.line([at(size * 0.62), at(size * 0.46, turn + 0.12)], fill=(70, 76, 66), width=3)
    pen.ellipse((x - size, y - size, x + size, y + size), outline=(84, 92, 80), width=4)


def _worm(pen: ImageDraw.ImageDraw, x: float, y: float, length: float, turn: float, colour: Colour, width: int) -> None:
    """A bent, tapering body, drawn as a row of discs."""
    for n in range(60):
        along = n / 59 - 0.5
        bend = 16 * math.sin(along * 6)
        px = x + along * length * math.cos(turn) - bend * math.sin(turn)
        py = y + along * length * math.sin(turn) + bend * math.cos(turn)
        half = width / 2 * (1 - abs(along) * 0.9)
        pen.ellipse((px - half, py - half, px + half, py + half), fill=colour)


def _inside(rng: random.Random, radius: float) -> Point:
    """A point in the round field."""
    turn, far = rng.uniform(0, math.tau), radius * math.sqrt(rng.random())
    return CENTRE[0] + far * math.cos(turn), CENTRE[1] + far * math.sin(turn)


# --- in the hand ------------------------------------------------------------------------------------------------------


def _fish(rng: random.Random, back: Colour, flank: Colour) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    """A fish from its left side on a wet board: body, fins, eye, gill cover, rows of scales."""
    picture = Image.new("RGB", (WIDE, HIGH), (58, 72, 70))
    pen = ImageDraw.Draw(picture)
    for y in range(0, HIGH, 9):
        pen.line([(0, y), (WIDE, y + 14)], fill=_toned((58, 72, 70), rng.randint(-4, 5)), width=9)
    fin = _toned(flank, -26)
    pen.polygon([(760, 360), (910, 220), (880, 360), (910, 500)], fill=fin)
    pen.polygon([(400, 220), (640, 130), (660, 250)], fill=fin)
    pen.polygon([(470, 500), (660, 590), (650, 470)], fill=fin)
    body = [(90, 365), (200, 270), (360, 215), (540, 215), (690, 280), (780, 345), (780, 378), (690, 440), (540, 510),
            (360, 512), (200, 452)]  # fmt: skip
    pen.polygon(body, fill=flank)
    pen.polygon(
        [(90, 365), (200, 270), (360, 215), (540, 215), (690, 280), (780, 345), (600, 310), (350, 290), (200, 320)],
        fill=back,
    )
    picture = picture.filter(ImageFilter.GaussianBlur(5))
    pen = ImageDraw.Draw(picture)
    for row in range(8):
        for column in range(17):
            x, y = 270 + column * 28 + (row % 2) * 14, 262 + row * 29
            if ((x - 470) / 310) ** 2 + ((y - 364) / 138) ** 2 < 0.92:
                pen.arc((x - 16, y - 16, x + 16, y + 16), -70, 70, fill=_toned(flank, -30), width=2)
    pen.arc((180, 270, 290, 460), -80, 80, fill=_toned(flank, -52), width=5)
    pen.ellipse((146, 318, 192, 364), fill=(234, 226, 196))
    pen.ellipse((157, 329, 181, 353), fill=(18, 20, 20))
    pen.line([(92, 372), (130, 380)], fill=_toned(flank, -60), width=4)
    return picture, pen


def _spots(rng: random.Random) -> Image.Image:
    picture, pen = _fish(rng, (88, 96, 104), (158, 150, 128))
    for _ in range(60):
        x, y = rng.uniform(210, 740), rng.uniform(240, 490)
        if ((x - 470) / 300) ** 2 + ((y - 364) / 125) ** 2 < 1:
            pen.ellipse((x - 6, y - 6, x + 6, y + 6), fill=(240, 240, 232), outline=(196, 196, 186))
    return picture


def _mouth(rng: random.Random) -> Image.Image:
    picture, pen = _fish(rng, (52, 74, 96), (186, 118, 54))
    for _ in range(130):
        x, y = rng.gauss(112, 15), rng.gauss(366, 12)
        pen.ellipse((x - 7, y - 5, x + 7, y + 5), fill=rng.choice([(232, 226, 212), (214, 208, 190), (240, 236, 226)]))
    return picture


def _worms(rng: random.Random) -> Image.Image:
    picture = Image.new("RGB", (WIDE, HIGH), (92, 70, 64))
    pen = ImageDraw.Draw(picture)
    for n in range(70):  # a loop of gut
        turn = n / 69 * math.pi * 1.5 + 0.6
        x, y = 480 + 250 * math.cos(turn), 360 + 190 * math.sin(turn)
        pen.ellipse((x - 58, y - 58, x + 58, y + 58), fill=(196, 150, 128))
    picture = picture.filter(ImageFilter.GaussianBlur(4))
    pen = ImageDraw.Draw(picture)
    for _ in range(8):
        turn = rng.uniform(1.4, 3.6)
        x, y = 480 + 250 * math.cos(turn), 360 + 190 * math.sin(turn)
        _worm(pen, x, y, 120, rng.uniform(0, math.tau), (168, 34, 30), 12)
    return picture.filter(ImageFilter.GaussianBlur(0.8))


def _toned(colour: Colour, by: int) -> Colour:
    r, g, b = (min(255, max(0, one + by)) for one in colour)
    return r, g, b


DRAWINGS: dict[str, Callable[[random.Random], Image.Image]] = {
    "flagellates": _flagellates, "rolling": _rolling, "flukes": _flukes, "rods": _rods, "granulomas": _granulomas,
    "spots": _spots, "mouth": _mouth, "worms": _worms,
}  # fmt: skip
