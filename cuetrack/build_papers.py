"""A rendered mix → what goes with it: sheet, captions, player, picture, chapters, markers, overlay, index.

Kept light: the command line reads the names before any array is loaded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, partial
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, get_args

from cuetrack.conform.arrangement import Arrangement
from cuetrack.errors import Diagnostic, MediaMissingError

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

    from cuetrack.build_mixes import Balanced
    from cuetrack.writers.player import SoundInside
    from cuetrack.writers.sheet import Paper

PaperName = Literal["sheet", "captions", "player", "picture", "chapters", "markers", "overlay"]
PAPER_NAMES: tuple[PaperName, ...] = get_args(PaperName)

# The files of each, behind the track's name.
PAPER_ENDINGS: Mapping[PaperName, tuple[str, ...]] = MappingProxyType(
    {
        "sheet": (".sheet.html", ".sheet.pdf", ".sheet.csv"),
        "captions": (".captions.vtt", ".captions.srt"),
        "player": (".player.html",),
        "picture": (".picture.png", ".picture.svg"),
        "chapters": (".chapters.txt",),
        "markers": (".markers.csv", ".markers.otio"),
        "overlay": (".overlay.mov",),
    }
)
# What is drawn with letters of our own choice, and needs the extra `paper`.
_DRAWN = frozenset({".sheet.pdf", ".picture.png", ".picture.svg", ".overlay.mov", ".take.png"})
INDEX_ENDING = ".index.html"
_GROUPS: Mapping[str, tuple[PaperName, ...]] = MappingProxyType(
    {
        "files-member": ("player",),
        "files-coach": ("sheet", "picture"),
        "files-film": ("captions", "chapters", "overlay", "markers"),
    }
)


@dataclass(frozen=True, slots=True)
class Papers:
    """What is written beside a track, by the endings of the files; `notes` say what cannot be, and why.

    `video_rate` is that of the overlay; `sound_inside` puts the track into the player page.
    """

    endings: tuple[str, ...] = ()
    video_rate: Fraction = Fraction(25)
    sound_inside: bool = False
    notes: tuple[Diagnostic, ...] = ()

    def paths(self, target: Path) -> dict[str, Path]:
        """The files beside `target`, by their endings; the page that links them all is the last."""
        endings = (*self.endings, INDEX_ENDING) if self.endings else ()
        return {ending: target.with_name(f"{target.stem}{ending}") for ending in endings}


def chosen_papers(
    names: Sequence[PaperName],
    video_rate: Fraction = Fraction(25),
    *,
    sound_inside: bool = False,
    as_far_as_can_be: bool = False,
) -> Papers:
    """The papers of these names; `as_far_as_can_be` leaves out what this machine lacks something for.

    Raises:
        MediaMissingError: something is missing for a paper that was asked for.
    """
    endings, notes = [], []
    for ending in (ending for name in PAPER_NAMES if name in names for ending in PAPER_ENDINGS[name]):
        try:
            refuse_missing(ending)
        except MediaMissingError as error:
            if not as_far_as_can_be:
                raise
            notes.append(Diagnostic("warning", f"NAME{ending} is left out: {error}"))
        else:
            endings.append(ending)
    return Papers(tuple(endings), video_rate, sound_inside, tuple(notes))


def refuse_missing(ending: str) -> None:
    """Raises `MediaMissingError` if this machine lacks something for a file with this ending."""
    from cuetrack.sound.ffmpeg import ffmpeg_path
    from cuetrack.writers.markers import refuse_without_otio
    from cuetrack.writers.typeface import refuse_without_paper

    if ending in _DRAWN:
        refuse_without_paper()
    if ending == ".overlay.mov":
        ffmpeg_path("the strip for a video")
    if ending.endswith(".otio"):
        refuse_without_otio()


def write_papers(
    one: Balanced,
    papers: Papers,
    files: Mapping[Path, Path],
    target: Path,
    sound: Sequence[Path],
    tell: Callable[[str, int, int], None],
) -> tuple[Diagnostic, ...]:
    """Writes all papers of `target`, each to its path in `files`, which `writers.atomic` has made.

    Args:
        one: the mix that they go with.
        papers: which, and how.
        files: for each file where it is written until all are done.
        target: the name that theirs begin with.
        sound: the files that the render writes beside them, the track that they name first.
        tell: the progress.

    Returns:
        What the coach may want to know.

    Raises:
        OSError: a file could not be written.
    """
    names = {ending: path.name for ending, path in papers.paths(target).items()}
    inside = _sound_inside(sound[0], files[sound[0]]) if papers.sound_inside else None
    writing = _Writing(one, papers.video_rate, names, [path.name for path in sound], inside, tell)
    for number, (ending, path) in enumerate(papers.paths(target).items()):
        tell("writing sheets and pages", number, len(names))
        made = writing.made(ending, files[path])
        if made is not None:
            files[path].write_bytes(made.encode("utf-8") if isinstance(made, str) else made)
    drawn = _DRAWN.intersection(papers.endings)
    return (*papers.notes, *(missing_letters(one.programme.arrangement) if drawn else ()))


def _sound_inside(track: Path, written: Path) -> SoundInside:
    """The track, to be carried in a page."""
    from cuetrack.writers.formats import format_of
    from cuetrack.writers.player import SoundInside

    return SoundInside(written.read_bytes(), format_of(track).media_type)


def missing_letters(arrangement: Arrangement) -> Iterator[Diagnostic]:
    """Letters that are printed as boxes, if there are any."""
    from cuetrack.writers.sheet import sheet_of
    from cuetrack.writers.sheet_pdf import letters_missing

    if missing := letters_missing(sheet_of(arrangement)):
        message = f"what is printed or drawn has a box for {' '.join(missing)}, which its letters lack"
        yield Diagnostic("warning", message, None, "the pages (HTML) show them")


def sheet_bytes(arrangement: Arrangement, ending: str, paper: Paper) -> bytes:
    """The sheet of an arrangement, as the ending of its file says."""
    from cuetrack.writers.sheet import sheet_csv, sheet_html, sheet_of

    if ending == ".sheet.csv":
        return sheet_csv(arrangement)
    sheet = sheet_of(arrangement)
    if ending == ".sheet.html":
        return sheet_html(sheet, paper=paper).encode("utf-8")
    from cuetrack.writers.sheet_pdf import sheet_pdf

    return sheet_pdf(sheet, paper=paper)


def film_paper(arrangement: Arrangement, ending: str, sound: str, *, music: bool) -> str | bytes:
    """Captions, chapters or markers of an arrangement, as the ending of their file says.

    Args:
        arrangement: what lies where, in a track or in a recording.
        ending: one of those in `PAPER_ENDINGS`.
        sound: the name of the file that they go with.
        music: whether the captions tell of it.
    """
    from cuetrack.writers.captions import captions_of, srt, webvtt
    from cuetrack.writers.chapters import chapters_of, chapters_text
    from cuetrack.writers.markers import markers_csv, markers_of, markers_otio

    rate_hz = arrangement.rate_hz
    match ending:
        case ".captions.vtt":
            return webvtt(captions_of(arrangement, music=music), rate_hz)
        case ".captions.srt":
            return srt(captions_of(arrangement, music=music), rate_hz)
        case ".chapters.txt":
            return chapters_text(chapters_of(arrangement), rate_hz)
        case ".markers.csv":
            return markers_csv(markers_of(arrangement), rate_hz)
        case _:
            return markers_otio(markers_of(arrangement), arrangement, sound)


@dataclass(frozen=True)
class _Writing:
    """The content of each file of one mix."""

    one: Balanced
    video_rate: Fraction
    names: Mapping[str, str]
    sound: Sequence[str]
    inside: SoundInside | None
    tell: Callable[[str, int, int], None]

    @property
    def arrangement(self) -> Arrangement:
        return self.one.programme.arrangement

    def made(self, ending: str, path: Path) -> str | bytes | None:
        """The file's content; None for one that is written already."""
        match ending:
            case ".sheet.html" | ".sheet.pdf" | ".sheet.csv":
                return sheet_bytes(self.arrangement, ending, "a4")
            case ".captions.vtt" | ".captions.srt" | ".chapters.txt" | ".markers.csv" | ".markers.otio":
                music = self.one.programme.bed is not None
                return film_paper(self.arrangement, ending, self.sound[0], music=music)
            case ".player.html":
                from cuetrack.writers.player import player_page

                return player_page(self.arrangement, sound=self.inside or self.sound[0])
            case ".picture.png" | ".picture.svg":
                from cuetrack.writers.picture import picture

                return picture(self.arrangement, self._levels, "png" if ending == ".picture.png" else "svg")
            case ".overlay.mov":
                self._write_overlay(path)
                return None
            case _:
                return self._index()

    @cached_property
    def _levels(self) -> Mapping[str, NDArray[float64]]:
        from cuetrack.mix.levels import levels_of

        return levels_of(self.one.programme, self.one.loudness.gain_db)

    def _write_overlay(self, path: Path) -> None:
        from cuetrack.writers.overlay import write_overlay

        drawn = partial(self.tell, "drawing the strip for the video")
        write_overlay(path, self.arrangement, self.video_rate, drawn)

    def _index(self) -> str:
        from cuetrack.writers.index_page import index_page

        groups = {
            heading: [
                self.names[ending]
                for paper in papers
                for ending in PAPER_ENDINGS[paper]
                if ending in self.names
            ]
            for heading, papers in _GROUPS.items()
        }
        for name in self.sound:
            groups.setdefault("files-data" if name.endswith(".json") else "files-sound", []).append(name)
        found = {heading: files for heading, files in groups.items() if files}
        return index_page(self.arrangement, found, self.names.get(".picture.png"))
