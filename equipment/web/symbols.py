"""Our own line drawings of components, one a kind. Each stands on a field of its own around (0, 0).

Bodies of the bore fill 120 × 64 and are drawn between two flanges; fittings fill 48 × 36. Lines take the
colour around them; a part of class ``fill`` is tinted, a part of class ``thin`` is a finer line.
"""

from typing import Final

BODY_HEIGHT: Final = 64
BODY_HALF: Final = 60

_FLANGES: Final = (
    '<rect class="fill" x="-34" y="-32" width="68" height="7"/>'
    '<rect class="fill" x="-34" y="25" width="68" height="7"/>'
)
_NECK: Final = '<path d="M-24-25V25M24-25V25"/>'
# A ram body: housing with a bonnet to either side, the blocks drawn in the bonnets.
_RAM: Final = (
    f'{_FLANGES}<rect x="-30" y="-25" width="60" height="50"/>'
    '<rect x="-58" y="-16" width="28" height="32" rx="2"/><rect x="30" y="-16" width="28" height="32" rx="2"/>'
    '<path class="thin" d="M-52-16v32M52-16v32"/>'
)

BODIES: Final[dict[str, str]] = {
    "annular": (
        f"{_FLANGES}"
        '<path d="M-30 25C-46 22-50 10-50 0C-50-14-40-25-24-25H24C40-25 50-14 50 0C50 10 46 22 30 25Z"/>'
        '<path class="fill" d="M-12-14C-30-12-36 2-34 16L-12 6ZM12-14C30-12 36 2 34 16L12 6Z"/>'
    ),
    "pipe-ram": (
        f"{_RAM}"
        '<path class="fill" d="M-46-9H-7V-5A6 6 0 0 0-7 6V10H-46ZM46-9H7V-5A6 6 0 0 1 7 6V10H46Z"/>'
        '<path class="thin" d="M-4-25V25M4-25V25"/>'
    ),
    "variable-bore-ram": (
        f"{_RAM}"
        '<path class="fill" d="M-46-9H-6V-6H-9V-3H-12V3H-9V6H-6V10H-46ZM46-9H6V-6H9V-3H12V3H9V6H6V10H46Z"/>'
        '<path class="thin" d="M-4-25V25M4-25V25"/>'
    ),
    "blind-ram": f'{_RAM}<path class="fill" d="M-46-9H-1V10H-46ZM46-9H1V10H46Z"/>',
    "blind-shear-ram": (
        f'{_RAM}<path class="fill" d="M-46-9H4L-4 0V10H-46ZM46 10H-1V3L7-5V-9H46Z"/><path d="M4-9L-5 1"/>'
    ),
    "casing-shear-ram": (
        f'{_RAM}<path class="fill" d="M-46-9H-18L-4 1L-18 10H-46ZM46-9H18L4 1L18 10H46Z"/>'
        '<path class="thin" d="M-10-25V-7M10-25V-7M-10 9V25M10 9V25"/>'
    ),
    "connector": (
        f'{_FLANGES}<path d="M-26-25H26L22-6H-22ZM-22 6H22L26 25H-26Z"/><path d="M-22-6V6M22-6V6"/>'
        '<path class="fill" d="M-40-14H-24V-9H-31V9H-24V14H-40ZM40-14H24V-9H31V9H24V14H40Z"/>'
    ),
    "drilling-spool": f"{_FLANGES}{_NECK}",
    "riser": (
        f'{_FLANGES}<path d="M-16-25V25M16-25V25"/>'
        '<path class="thin" d="M-24-25V25M24-25V25M-28-25V25M28-25V25"/><path class="thin" d="M-30 0H30"/>'
    ),
    "diverter": (
        f'{_FLANGES}<path d="M-46-25H46L30 25H-30Z"/>'
        '<path class="fill" d="M-12-14L-32-14L-24 8L-12 8ZM12-14L32-14L24 8L12 8Z"/>'
        '<path d="M-41-8H-58M-38 2H-58M41-8H58M38 2H58"/>'
    ),
}
"""Kinds drawn as a body of the bore."""
PLAIN_BODY: Final = f'{_FLANGES}{_NECK}<path class="thin" d="M-24-25L24 25M24-25L-24 25"/>'
"""For a kind in the bore that has no drawing of its own."""

# The bow tie is how piping drawings show a valve (ISO 10628-2, graphical symbols).
_BOW_TIE: Final = '<path class="fill" d="M-20-10V10L20-10V10Z"/>'
_LINE: Final = '<path d="M-24 0H-20M20 0H24"/>'
_BALL: Final = '<path class="fill" d="M-20-10V10L20-10V10Z"/><circle class="sheet" r="6"/>'

FITTINGS: Final[dict[str, str]] = {
    "choke-valve": f'{_LINE}{_BOW_TIE}<path d="M0 0V-9"/><rect class="sheet" x="-7" y="-18" width="14" height="9"/>',
    "kill-valve": f'{_LINE}{_BOW_TIE}<path d="M0 0V-9"/><path class="sheet" d="M-8-9A8 8 0 0 1 8-9Z"/>',
    "gate-valve-hydraulic": (
        f'{_LINE}{_BOW_TIE}<path d="M0 0V-8"/><rect class="sheet" x="-9" y="-18" width="18" height="10"/>'
        '<path d="M-9-13H9"/>'
    ),
    "gate-valve-manual": f'{_LINE}{_BOW_TIE}<path d="M0 0V-14M-8-14H8"/>',
    "check-valve": f'{_LINE}<path d="M-20-10V10M20-10V10M-20-10L20 10"/><path class="fill" d="M20 10L9 9L14 1Z"/>',
    "choke": f'{_LINE}{_BOW_TIE}<path d="M-12 15L12-15M12-15L4-12M12-15L11-6"/>',
    "manifold": (
        '<path d="M-24-12H24M-24 12H24M-14-12V12M0-12V12M14-12V12"/>'
        '<path class="fill" d="M-18-4h8l-8 8h8zM-4-4h8l-8 8h8zM10-4h8l-8 8h8z"/>'
    ),
    "standpipe-valve": (
        '<path d="M0-18V-14M0 18V14"/><path class="fill" d="M-9-14H9L-9 14H9Z"/><path d="M0 0H14M14-6V6"/>'
    ),
    "kelly-valve": f'{_LINE}{_BALL}<path class="thin" d="M-24-10V10M24-10V10"/>',
    "safety-valve": (
        f'{_LINE}{_BALL}<path class="thin" d="M-24-7L-20-5M-24-1L-20 1M-24 5L-20 7M20-7L24-5M20-1L24 1M20 5L24 7"/>'
    ),
    "inside-bop": (
        '<rect x="-22" y="-10" width="44" height="20"/><path class="fill" d="M-12-7L2 0L-12 7Z"/>'
        '<path d="M2 0L5-3L8 3L11-3L14 3L17 0"/>'
    ),
    "flexible-line": (
        '<path d="M-24 4C-18-10-12-10-6 0S6 10 12 0S20-8 24-4"/>'
        '<path class="thin" d="M-24 10C-18-4-12-4-6 6S6 16 12 6S20-2 24 2"/>'
    ),
    "closing-unit": (
        '<rect x="-22" y="-16" width="44" height="30"/><path class="thin" d="M-22-4H22"/>'
        '<path d="M-14 14V18M14 14V18"/><circle cx="-11" cy="-10" r="3.5"/><circle cx="0" cy="-10" r="3.5"/>'
        '<circle cx="11" cy="-10" r="3.5"/><path d="M-14 1V9M-7 1V9M0 1V9M7 1V9M14 1V9"/>'
    ),
    "accumulator-bank": (
        '<path d="M-24 16H24"/>'
        + "".join(
            f'<path class="fill" d="M{x} 14V-8A5 5 0 0 1 {x + 10}-8V14Z"/><path d="M{x + 5}-13V-16M{x + 5} 14V16"/>'
            for x in (-23, -11, 1, 13)
        )
    ),
    "riser": (
        '<path d="M-7-18V18M7-18V18"/><path class="thin" d="M-12-18V18M12-18V18"/>'
        '<path class="fill" d="M-15-3H15V3H-15Z"/>'
    ),
    "diverter": '<path d="M-22-14H22L12 14H-12Z"/><path d="M-18-4H-24M18-4H24"/>',
}
"""Kinds drawn as a fitting: on an outlet, or beside the stack."""
PLAIN_FITTING: Final = '<rect x="-20" y="-12" width="40" height="24"/>'
"""For a kind beside the stack that has no drawing of its own."""


def body(kind: str) -> str:
    """Return the drawing of a kind in the bore."""
    return BODIES.get(kind, PLAIN_BODY)


def fitting(kind: str) -> str:
    """Return the drawing of a kind on a line or beside the stack; a body of the bore is drawn smaller."""
    if kind in FITTINGS:
        return FITTINGS[kind]
    return f'<g transform="scale(.4)">{BODIES[kind]}</g>' if kind in BODIES else PLAIN_FITTING
