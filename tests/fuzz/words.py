"""The keys of the language, and values, signs, cells and numbers that readers may trip over."""

from __future__ import annotations

from cuetrack.document.model import Node
from cuetrack.plan import house, series

# Loading them makes their classes known below `Node`.
_LOADED = (house, series)


def _listed(text: str, separator: str | None = None) -> tuple[str, ...]:
    """What stands between separators (white space if None), line ends left out."""
    return tuple(text.replace("\n", separator or " ").split(separator))


def _keys_below(node: type[Node]) -> set[str]:
    below = {key for child in node.__subclasses__() for key in _keys_below(child)}
    return below | set(node.allowed_keys())


KEYS = (*sorted(_keys_below(Node)), "<<")
VALUES = (
    *_listed("30s|0s|0.5s|1:30|2 min|1 min 30 s|20s..40s|40s..20s|0s..24h|1s..86400s|32 counts|8 reps", "|"),
    *_listed(
        "99999 counts|72/8.5 s|1/3 s|1/0 s|999999999999999999 s|0.000000001 s|23:59:59|24h|25h|-1s", "|"
    ),
    *_listed("1/999999999999999999 s|1/999999999999999989 s|−8s|50%|100.000001%|2026-11-30|2026-02-30", "|"),
    *_listed(
        "3 0 -0 1e9 1_000 0x7f 0o17 .inf -.nan ~ null on off no yes true 2..4 1..1000 1000 1001 9999-12-31"
    ),
    *_listed(
        "60 bpm|300 bpm|20 bpm|33.333333 bpm|0.2s|3-1-2-0|3-1-x-0|99-99-99-99|x-x-x-x|-14 dB|-16 LUFS", "|"
    ),
    *_listed("both left right easier harder standard class ear film terse full tones voice none soft bright"),
    *_listed("plain pips light calm en de es fr zz en-GB-oed strong.yaml ../strong.yaml /etc/hostname . con"),
    *_listed("{move} { } {{move}} [[{move}]] {0} {move!r} %s $(x) \\ a/b.yaml 0000-00-00 [right,left]"),
    *(
        "",
        "[piece {side}]",
        "9" * 21,
        "{at: 5s, say: Hi}",
        "{start: {count: 3}}",
        "[{slow: 20s}, {fast: 10s}]",
    ),
)
YAML_SIGNS = (
    *_listed(
        r"""{ } [ ] : | > |2- >+ |9 @ ` ' " = , ? ! & * # - -- --- ... % \ << &a *a &a_{} !x !!int !<a>"""
    ),
    *_listed(r'!!binary !!set !!omap !!merge !!python/object:os.system "\x00" "\x07" "\e[31m" "\uD800" "\q"'),
    *_listed(r'"\uD83C\uDFCB" "\UFFFFFFFF" "\N" "\_" %YAML %TAG \ud800'),
)
# Controls, line ends of other systems, what is not seen, half a character, letters that are several.
ODD_SIGNS = (
    *("\x00", "\x07", "\x1b[31m", "\t", "\r", "\x0b", "\x0c", "\x7f", "\x85", "\u00a0", "\u2028", "\u200b"),
    *(
        "\u202e",
        "\u0301",
        "\ufeff",
        "\ufffe",
        "\ud800",
        "🏋️",
        "ﷺ",
        "İ",
        "ß",
        "١",
        "²",
        "Ⅷ",
        "．",
        "：",
        "\U000e0001",
    ),
)
LINE_ENDS = ("\n", "\n\n", "\r\n", "\r", "\n  ", "\n---\n", "\n...\n", "\n\t", "\n      ")

HEADINGS = (
    *KEYS,
    *_listed(
        "kind|Übung|Pause (Sek.)|Dauer (min)|work (s)|rest in s|tempo (bpm)|ejercicio|exercice|Runden", "|"
    ),
    *("durée", "work (counts)", "work ()", "(s)", "x", "", "work" + " " * 9000 + "(s)"),
)
CELLS = (
    *VALUES,
    *_listed(
        "40|1,5|1'30\"|20-30|x3|3x|left/right|je Seite|L & R|band, mat|-|—|'=1+1|slow: 20s, fast: 10s", "|"
    ),
    *_listed("=1+1|=cmd|'/C calc'!A0|@SUM(A1)|+1|20:30:00|#REF!|slow:20s|[|{|\"|\"a|&a [*a]|[*a]|!!x y", "|"),
    *("{a: &b a}", "{<<: {a: b}}", "a\nb", "a\r\nb", "\x00", "\x1b[31m", "\u202e", "\ufeff", "🏋️", "[" * 30),
)
LARGE_CELLS = (
    *(
        "[" * 3000,
        "{a: " * 500,
        "9" * 400,
        "a" * 5000,
        "[a," * 2000,
        "1" * 30 + "s",
        " " * 9000,
        "x" + " " * 9000 + "x",
    ),
    *(
        "[" + "a," * 20_000 + "]",
        "[" + "[a]," * 9000 + "]",
        '"' + "\\u0041" * 9000 + '"',
        "a" * 140_000,
        "a, " * 9000,
    ),
)
# What is no number, a date, a part of a day, or beyond what a sheet or a float can hold.
NUMBERS = _listed(
    """-1 0 1 1e308 -1e308 1e999 nan inf 1048577 2147483648 99999999999999999999 0.5 0.854166666666667 1e-320
    45000 45000.5 2958466 -0.5 60 59 0.000011574 1. .5 ١ 0x1 1_0"""
)
REFERENCES = _listed(
    """A1 A0 A1048576 A1048577 XFD1 XFE1 ZZZZ9 A1:XFD1048576 A1:A1 B2:A1 A:A 1:1 A1:B A99999999999 a1 $A$1
    A1:XFE1048577 -1 Ä1"""
)
ERRORS = ("#REF!", "#DIV/0!", "#N/A", "#NAME?", "#VALUE!", "#x")
