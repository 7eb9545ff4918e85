"""Plans, series and house styles → broken ones: lines, values, keys, signs, sizes and encodings changed."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from random import Random

from tests.fuzz.words import KEYS, LINE_ENDS, ODD_SIGNS, VALUES, YAML_SIGNS

# A little more than the readers accept.
MAX_BYTES = 300 * 1024

_PAIR = re.compile(r"^(\s*(?:- )?)([^\s:#][^:#]*): ?(.*)$")
_WORD_PAIR = re.compile(r"([\w-]+): +([^,{}\[\]\n]+)")
SOUP_WORDS = (
    *(f"{key}: " for key in KEYS),
    *VALUES,
    *YAML_SIGNS,
    *ODD_SIGNS,
    *LINE_ENDS,
    *(" ", "  ", ", ", "- ", "? ", " #"),
)


def mutated(data: bytes, random: Random, seeds: Sequence[bytes]) -> bytes:
    """`data` with one to four changes; never longer than `MAX_BYTES`."""
    text = data.decode("utf-8", errors="surrogateescape")
    for _ in range(random.choice((1, 1, 1, 2, 4))):
        text = random.choice(_CHANGES)(text, random, seeds)[:MAX_BYTES]
    return _encoded(text, random)[:MAX_BYTES]


def soup(words: Sequence[str]) -> bytes:
    """Words of the language, signs of YAML and line ends in any order."""
    return "".join(words).encode("utf-8", errors="surrogatepass")


def _encoded(text: str, random: Random) -> bytes:
    """Mostly UTF-8; now and then with a byte order mark, in another encoding, or with a byte at fault."""
    chance = random.randrange(40)
    if chance == 0:
        return text.encode("utf-16", errors="replace")
    if chance == 1:
        return b"\xef\xbb\xbf" + text.encode("utf-8", errors="replace")
    if chance == 2:
        return text.encode("latin-1", errors="replace")
    try:
        data = text.encode("utf-8", errors="surrogateescape")
    except UnicodeEncodeError:
        data = text.encode("utf-8", errors="surrogatepass")
    if chance == 3 and data:
        at = random.randrange(len(data))
        data = data[:at] + bytes([random.randrange(256)]) + data[at + 1 :]
    return data


def _line_change(text: str, random: Random, seeds: Sequence[bytes]) -> str:
    """A run of lines deleted, doubled, moved, or taken from another plan."""
    lines = text.split("\n")
    at, other = random.randrange(len(lines)), random.randrange(len(lines))
    run = lines[at : at + random.choice((1, 1, 2, 5, 20))]
    kind = random.choice(("delete", "double", "move", "take"))
    if kind == "take":
        theirs = random.choice(seeds).decode("utf-8", errors="replace").split("\n")
        start = random.randrange(len(theirs))
        run = theirs[start : start + random.choice((1, 3, 10))]
    elif kind != "double":
        del lines[at : at + len(run)]
    if kind != "delete":
        lines[other:other] = run
    return "\n".join(lines)


def _indent_change(text: str, random: Random, _: Sequence[bytes]) -> str:
    lines = text.split("\n")
    at = random.randrange(len(lines))
    for number in range(at, min(len(lines), at + random.choice((1, 1, 4)))):
        if random.randrange(2):
            more = random.choice((" ", "  ", "    ", "- ", "\t", "? ", "- - ", "&a "))
            lines[number] = more + lines[number]
        else:
            lines[number] = lines[number][random.randint(1, 4) :]
    return "\n".join(lines)


def _number_change(text: str, random: Random, _: Sequence[bytes]) -> str:
    """Numbers with others in their places; what they are about stays."""
    for _ in range(random.choice((1, 3))):
        numbers = list(re.finditer(r"\d+", text))
        if numbers:
            one = random.choice(numbers)
            usual = random.choice((0, 1, 2, 3, 7, 10, 60, 300, 1000))
            new = random.choice((usual, random.randrange(100), random.randrange(100_000)))
            text = f"{text[: one.start()]}{new}{text[one.end() :]}"
    return text


def _same_key_change(text: str, random: Random, seeds: Sequence[bytes]) -> str:
    """A value that another plan has for the same key."""
    theirs = dict(_WORD_PAIR.findall(random.choice(seeds).decode("utf-8", errors="replace")))
    pairs = [pair for pair in _WORD_PAIR.finditer(text) if pair[1] in theirs]
    return _with_value(text, pairs, lambda pair: theirs[pair[1]], random)


def _value_change(text: str, random: Random, seeds: Sequence[bytes]) -> str:
    pairs = list(_WORD_PAIR.finditer(text)) or list(re.finditer(r"()(\w+)", text))
    return _with_value(text, pairs, lambda _: _value(random, seeds), random)


def _with_value(
    text: str, pairs: Sequence[re.Match[str]], value: Callable[[re.Match[str]], str], random: Random
) -> str:
    """The text with another value in one of the pairs, if there are any."""
    if not pairs:
        return text
    pair = random.choice(pairs)
    return text[: pair.start(2)] + value(pair) + text[pair.end(2) :]


def _value(random: Random, seeds: Sequence[bytes]) -> str:
    """A value from the list, of another plan, long, in brackets, or behind a sign."""
    listed = random.choice(VALUES)
    kind = random.choice(("listed", "listed", "listed", "other", "long", "brackets", "sign"))
    if kind == "other":
        found = _WORD_PAIR.findall(random.choice(seeds).decode("utf-8", errors="replace"))
        return random.choice(found)[1] if found else "x"
    if kind == "long":
        sign = random.choice(("9", "a", "a ", "é", "{a} ", "[", "-", "1:", "0.", "1h ", "\\\\", "*", "and "))
        return sign * random.choice((3, 20, 60, 121, 501, 4001, 40_000))
    if kind == "brackets":
        key = random.choice(KEYS)
        return random.choice((f"[{listed}]", f"{{{key}: {listed}}}", f'"{listed}"', f"&a {listed}", "*a"))
    return random.choice(YAML_SIGNS) + listed if kind == "sign" else listed


def _key_change(text: str, random: Random, seeds: Sequence[bytes]) -> str:
    """A key replaced, misspelt, doubled or added."""
    lines = text.split("\n")
    pairs = [(number, pair) for number, line in enumerate(lines) if (pair := _PAIR.match(line))]
    if not pairs:
        return text
    number, pair = random.choice(pairs)
    before, key, value = pair.groups()
    kind = random.choice(("replace", "misspell", "double", "add"))
    if kind == "replace":
        lines[number] = f"{before}{random.choice(KEYS)}: {value}"
    elif kind == "misspell":
        at = random.randrange(len(key))
        lines[number] = (
            f"{before}{key[:at]}{random.choice((*ODD_SIGNS, 'x', '', ' '))}{key[at + 1 :]}: {value}"
        )
    else:
        new = key if kind == "double" else random.choice(KEYS)
        lines.insert(number + 1, f"{' ' * len(before)}{new}: {_value(random, seeds)}")
    return "\n".join(lines)


def _sign_change(text: str, random: Random, _: Sequence[bytes]) -> str:
    at = random.randrange(len(text) + 1)
    cut = at + random.choice((0, 0, 0, 1, 3))
    return text[:at] + random.choice(random.choice((YAML_SIGNS, ODD_SIGNS, LINE_ENDS))) + text[cut:]


def _cut(text: str, random: Random, _: Sequence[bytes]) -> str:
    at = random.randrange(len(text) + 1)
    return text[:at] if random.randrange(3) else text[at:]


def _repetition(text: str, random: Random, _: Sequence[bytes]) -> str:
    """A run of lines very often."""
    lines = text.split("\n")
    at = random.randrange(len(lines))
    run = lines[at : at + random.choice((1, 2, 5, 10))]
    room = MAX_BYTES // (sum(map(len, run)) + len(run))
    lines[at:at] = run * min(room, random.choice((3, 30, 300, 3000, 30_000)))
    return "\n".join(lines)


def _many_keys(text: str, random: Random, _: Sequence[bytes]) -> str:
    """A key very often, with a number behind it."""
    lines = text.split("\n")
    at = random.randrange(len(lines))
    pair = _PAIR.match(lines[at])
    if pair:
        keys = range(random.choice((3, 30, 300, 20_000)))
        lines[at + 1 : at + 1] = (f"{' ' * len(pair[1])}{pair[2]}{number}: {pair[3]}" for number in keys)
    return "\n".join(lines)


def _growth(text: str, random: Random, _: Sequence[bytes]) -> str:
    return _with_value(text, list(_WORD_PAIR.finditer(text)), lambda _: _large(random), random)


def _large(random: Random) -> str:
    """A value that is deep, wide, long, or doubles itself by aliases."""
    times = random.choice((3, 30, 300, 3000, 30_000))
    levels = min(times, 30)
    nodes = (f"&b{n} [{', '.join([f'*b{n - 1}' if n else 'x'] * 9)}]" for n in range(levels))
    ways: tuple[Callable[[], str], ...] = (
        lambda: "[" * times + "]" * random.choice((0, times)),
        lambda: "{a: " * times + "1" + "}" * times,
        lambda: f"[{', '.join(['a'] * times)}]",
        lambda: f"{{{', '.join(f'k{number}: 1 s' for number in range(times))}}}",
        lambda: f"[{', '.join(nodes)}]",
        lambda: '"' + random.choice(("\\u0041", "a ", "\\\n  ", "\\x1b")) * times + '"',
        lambda: "|\n" + "".join(f"            {'x ' * (n % 50)}\n" for n in range(min(times, 5000))),
        lambda: "a #" + " comment" * times,
    )
    return random.choice(ways)()


_CHANGES: tuple[Callable[[str, Random, Sequence[bytes]], str], ...] = (
    *(_number_change, _number_change, _number_change, _same_key_change, _same_key_change, _same_key_change),
    *(_line_change, _line_change, _indent_change, _value_change, _value_change, _value_change),
    *(_key_change, _key_change, _sign_change, _cut, _repetition, _many_keys, _growth),
)
