"""The symbols, after IEC 60617 and drawn here: each between y `top` and `bottom`, its line in column x.

IEC 60617 is cited from memory: fuse and resistor are rectangles, a lamp is a crossed circle, machines are
circles with a letter, a relay coil is a wide rectangle joined to its contact by a dashed line, a make contact
is a blade without hinge circles, chassis is a bar with three slanted strokes.
"""

from __future__ import annotations

from collections.abc import Callable

from amptrail.draw.graph import Node, Pin
from amptrail.draw.nodes import CONTACT_DX
from amptrail.draw.pen import Pen

PIN_TEXT = 9.5

Shape = Callable[[Pen, Node, float, float, float], None]


def _through(pen: Pen, x: float, top: float, bottom: float, half: float) -> float:
    """Leads from both edges to a symbol of 2 × `half` px in the middle; returns the middle."""
    middle = (top + bottom) / 2
    pen.line((x, top), (x, middle - half), css="lead")
    pen.line((x, middle + half), (x, bottom), css="lead")
    return middle


def wire(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """A wire: the line itself."""
    pen.line((x, top), (x, bottom), css="lead")


def fuse(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Fuse or fusible link: a rectangle with the line going through."""
    middle = _through(pen, x, top, bottom, 12)
    pen.rect(x - 5, middle - 12, 10, 24)
    pen.line((x, middle - 12), (x, middle + 12))


def resistor(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Resistor, and the rectangle of its relatives."""
    middle = _through(pen, x, top, bottom, 13)
    pen.rect(x - 6, middle - 13, 12, 26)
    if node.shape == "heater":
        for k in (-6.5, 0, 6.5):
            pen.line((x - 6, middle + k), (x + 6, middle + k))
    elif node.shape in ("ptc", "sensor", "polyfuse"):
        pen.line((x - 14, middle + 12), (x - 10, middle + 12), (x + 11, middle - 12))


def lamp(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Lamp: a circle with a cross."""
    middle = _through(pen, x, top, bottom, 13)
    pen.circle(x, middle, 13)
    k = 9.2
    pen.line((x - k, middle - k), (x + k, middle + k))
    pen.line((x - k, middle + k), (x + k, middle - k))


def motor(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Motor: a circle with M."""
    middle = _through(pen, x, top, bottom, 14)
    pen.circle(x, middle, 14)
    pen.letter(x, middle, "M")


def load(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Electronic load: a square with I, for the current it takes."""
    middle = _through(pen, x, top, bottom, 13)
    pen.rect(x - 13, middle - 13, 26, 26)
    pen.letter(x, middle, "I")


def solenoid(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Solenoid: a coil rectangle with the stroke of a moving core."""
    middle = _through(pen, x, top, bottom, 9)
    pen.rect(x - 14, middle - 9, 28, 18)
    pen.line((x - 8, middle + 9), (x + 8, middle - 9))


def diode(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Diode or LED: the triangle points the way of the current."""
    middle = _through(pen, x, top, bottom, 8)
    s = -1 if node.flipped else 1
    flat, tip = middle - 8 * s, middle + 8 * s
    pen.line((x - 9, flat), (x + 9, flat), (x, tip), (x - 9, flat))
    pen.line((x - 9, middle + 8 * s), (x + 9, middle + 8 * s))
    if node.shape == "led":
        for dy in (-6.0, 2.0):
            pen.line((x - 11, middle + dy), (x - 18, middle + dy - 7))
            pen.filled((x - 20, middle + dy - 9), (x - 15, middle + dy - 7.5), (x - 18.5, middle + dy - 4))


def blade(pen: Pen, hinge: tuple[float, float], contact: tuple[float, float], closed: bool) -> None:
    """A make contact between two points of one column: open, it stands off to the left; closed, a stroke
    marks where it touches."""
    (x, y0), (_, y1) = hinge, contact
    if closed:
        pen.line(hinge, contact)
        pen.line((x - 5, y1), (x + 5, y1))
    else:
        pen.line(hinge, (x - 10, y1 + (1 if y0 > y1 else -1)))


def switch(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Switch: a make contact."""
    middle = _through(pen, x, top, bottom, 11)
    blade(pen, (x, middle + 11), (x, middle - 11), "" in node.closed)


def joint(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """A stud, clamp or eye: the circle of a terminal."""
    middle = _through(pen, x, top, bottom, 4)
    pen.circle(x, middle, 4)


def cavity(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """One cavity of a plug: socket over pin."""
    middle = _through(pen, x, top, bottom, 6)
    pen.out.append(f'<path d="M{x - 6:g} {middle + 1:g}A6 6 0 0 1 {x + 6:g} {middle + 1:g}"/>')
    pen.line((x, middle - 6), (x, middle - 5))
    pen.rect(x - 1.5, middle - 1, 3, 8, css="solid")
    pen.ink.append((x - 6, middle - 6, x + 6, middle + 7))


def battery(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Battery: two cells, the long plate is plus."""
    middle = _through(pen, x, top, bottom, 8)
    for dy, half, css in ((-8, 12, ""), (-3, 6, "thick"), (3, 12, ""), (8, 6, "thick")):
        pen.line((x - half, middle + dy), (x + half, middle + dy), css=css)
    pen.line((x - 17, middle - 12), (x - 11, middle - 12))
    pen.line((x - 14, middle - 15), (x - 14, middle - 9))


def _number(pen: Pen, pin: Pin, x: float, y: float, below: bool) -> None:
    pen.text(x + 4, y - 3 if below else y + 10, pin.terminal, "pin", PIN_TEXT)


def relay(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Relay at rest: coil left, contact right, joined by a dashed line."""
    middle = (top + bottom) / 2
    for row, edge, end, low in (
        (node.tops, top, middle - 11, False),
        (node.bottoms, bottom, middle + 11, True),
    ):
        for p in row:
            coil = p.terminal in ("85", "86")
            stop = (middle - 9 if not low else middle + 9) if coil else end
            pen.line((x + p.dx, edge), (x + p.dx, stop), css=p.lead)
            _number(pen, p, x + p.dx, edge, low)
    has_coil = any(p.terminal in ("85", "86") for p in node.pins())
    common = next((p for p in node.pins() if p.terminal == "30"), None)
    throws = [p for p in node.pins() if p.terminal in ("87", "87a")]
    if has_coil:
        pen.rect(x - 14, middle - 9, 28, 18)
    if common is None:
        return
    at = x + common.dx
    pulled = "87" in node.closed
    from_top = common in node.tops
    y0, y1 = (middle - 11, middle + 11) if from_top else (middle + 11, middle - 11)
    rest = next((p for p in throws if p.terminal == "87a"), None)
    if rest is not None and len(throws) > 1:
        ends = {p.terminal: x + p.dx for p in throws}
        pen.line((at, y0), (ends["87"] - 2 if pulled else ends["87a"] + 2, y1))
        for p in throws:
            pen.circle(x + p.dx, y1, 2)
    elif rest is not None:
        blade(pen, (at, y0), (at, y1), not pulled)
    else:
        blade(pen, (at, y0), (at, y1), pulled)
    if has_coil:
        shut = pulled == (rest is None)
        tip = at - (0 if shut else 5) if len(throws) < 2 else at - CONTACT_DX / 4 * (-1 if pulled else 1)
        pen.line((x + 14, middle), (tip, middle), css="tie")


def alternator(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Alternator: a circle with G; D+ enters from the side."""
    middle = (top + bottom) / 2
    pen.circle(x, middle, 15)
    pen.letter(x, middle, "G")
    for row, edge, end, low in (
        (node.tops, top, middle - 15, False),
        (node.bottoms, bottom, middle + 15, True),
    ):
        for p in row:
            if p.dx:
                pen.line((x + p.dx, edge), (x + p.dx, middle), (x + 15, middle), css=p.lead)
            else:
                pen.line((x, edge), (x, end), css=p.lead)
            _number(pen, p, x + p.dx, edge, low)


def starter(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Starter: main contact over motor; the solenoid winding beside them returns to 31."""
    coil = next((p for p in node.tops if p.terminal == "50"), None)
    motor_y, coil_y = bottom - 40, top + 34
    for p in node.tops:
        _number(pen, p, x + p.dx, top, False)
    for p in node.bottoms:
        _number(pen, p, x + p.dx, bottom, True)
    pen.line((x, top), (x, coil_y - 10), css="lead")
    blade(pen, (x, coil_y + 10), (x, coil_y - 10), "" in node.closed)
    pen.line((x, coil_y + 10), (x, motor_y - 14))
    pen.circle(x, motor_y, 14)
    pen.letter(x, motor_y, "M")
    pen.line((x, motor_y + 14), (x, bottom), css="lead")
    for p in node.bottoms:
        if p.terminal == "M":
            out = x + p.dx
            pen.line(
                (x, coil_y + 12),
                (x + 30, coil_y + 12),
                (x + 30, bottom - 14),
                (out, bottom - 14),
                (out, bottom),
            )
    if coil is not None:
        c = x + coil.dx
        pen.line((c, top), (c, coil_y - 9), css=coil.lead)
        pen.rect(c - 14, coil_y - 9, 28, 18)
        pen.line((c, coil_y + 9), (c, motor_y + 20), (x, motor_y + 20))
        pen.circle(x, motor_y + 20, 2, css="solid")
        pen.line((c - 14, coil_y), (x - 4, coil_y), css="tie")


def pot(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """Potentiometer: a resistor with an arrow from the right."""
    middle = _through(pen, x, top, bottom, 13)
    pen.rect(x - 6, middle - 13, 12, 26)
    for row, edge, low in ((node.tops, top, False), (node.bottoms, bottom, True)):
        for p in row:
            _number(pen, p, x + p.dx, edge, low)
            if p.dx:
                pen.line((x + p.dx, edge), (x + p.dx, middle), (x + 8, middle), css=p.lead)
                pen.filled((x + 6, middle), (x + 13, middle - 4), (x + 13, middle + 4))


def chassis(pen: Pen, x: float, y: float) -> None:
    """The metal of the vehicle."""
    pen.line((x - 10, y), (x + 10, y), css="thick")
    for k in (-9, -1, 7):
        pen.line((x + k, y), (x + k - 5, y + 7))


def body(pen: Pen, node: Node, x: float, top: float, bottom: float) -> None:
    """A joint straight to the metal."""
    pen.line((x, top), (x, top + 12), css="lead")
    chassis(pen, x, top + 12)


SYMBOLS: dict[str, Shape] = {
    "wire": wire, "fuse": fuse, "link": fuse, "polyfuse": resistor, "resistor": resistor, "heater": resistor,
    "ptc": resistor, "sensor": resistor, "lamp": lamp, "led": diode, "diode": diode, "motor": motor,
    "solenoid": solenoid, "load": load, "switch": switch, "joint": joint, "cavity": cavity,
    "battery": battery, "relay": relay, "alternator": alternator, "starter": starter,
    "pot": pot, "body": body,
}  # fmt: skip
