"""Presets: every shipped one loads, every mistake gets its sentence."""

from __future__ import annotations

import json
import re
from dataclasses import fields
from importlib import resources
from pathlib import Path

import jsonschema
import pytest
import yaml

from bench.sheet import page
from engine.figures import Figure, Grid
from engine.limits import StyleError
from engine.style import Register, Rhythm, Style, Tempo, Touch, Way
from engine.theory.harmony import Family
from presets.loader import load, names
from presets.own import begin, folder, own_names, path_of, text_of
from presets.reading import SECTIONS, PresetError, read
from presets.schema import schema

GUIDE = Path(__file__).parent.parent / "docs" / "presets.md"

SMALL = """\
rhythm:
  grid: eighths
  figures:
    - strokes: "X-x- X-x-"
      tones: 1 5 1 5
"""

TWO = SMALL.replace("X-x- X-x-", "X--- X---").replace("1 5 1 5", "1 5")

TRIPLETS = """\
rhythm:
  grid: triplets
  figures:
    - strokes: "X-x X-x X-x X"
"""


class TestShipped:
    """The presets that come along."""

    def test_there_are_presets(self) -> None:
        """A soul feel, a walking feel and a rock feel at least."""
        assert {"soul", "walking", "rock"} <= set(names())

    @pytest.mark.parametrize("name", names())
    def test_each_loads_and_introduces_itself(self, name: str) -> None:
        """Every preset has a title and a line about itself."""
        style = load(name)

        assert style.name == name
        assert style.title
        assert style.description.endswith(".")


class TestSchema:
    """The schema that editors complete and check by."""

    def test_the_schema_that_is_shipped_is_up_to_date(self) -> None:
        """Write it again with python -m presets.schema > presets/schema.json."""
        shipped = (resources.files("presets") / "schema.json").read_text("utf-8")

        assert json.loads(shipped) == schema()

    @pytest.mark.parametrize("name", names())
    def test_every_shipped_preset_is_valid_by_it(self, name: str) -> None:
        """What plays is what the editor accepts."""
        jsonschema.validate(_as_json(text_of(name)), schema())

    @pytest.mark.parametrize(
        "text",
        [
            "feel: {swing: 3}",
            "feel: {swng: 0.6}",
            "pools: {major: {13: 1}}",
            "metres: [4]",
            "approach: {ways: {semitone: 1}}",
            "touch: {accent: loud}",
            "metres: [4/5]",
            "metres: [33/4]",
            "phrase: {turns: []}",
            "approach: {ways: {}}",
            "approach: {ways: {fifth: 101}}",
            "pools: {major: {}}",
        ],
    )
    def test_the_editor_marks_what_the_loader_refuses(self, text: str) -> None:
        """A limit, a key, a degree, a metre, a way, a kind, a list of nothing."""
        with pytest.raises(PresetError):
            read(SMALL + text, "x.yaml")
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(_as_json(SMALL + text), schema())

    @pytest.mark.parametrize(
        "text",
        [
            SMALL + "phrase: {bars: 4.0}",
            SMALL + "phrase: {bars: 0x10}",
            SMALL + "feel: {swing: .6, lay_back_ms: +5}",
            SMALL + "title: 1999",
            SMALL + "title:",
            SMALL + "description: true",
            SMALL + "metres: [4 / 4, 03/4]",
            SMALL + "pools:\n  minor:\n    5,: 1\n    b7: 0",
            SMALL + "approach: {ways: {fifth: 0, octave: 1}}",
            SMALL + "quiet_pools: &few {major: {1: 1}}\nfull_pools: *few",
            SMALL + "  answers: []\n  fills: []",
            SMALL + "      weight: 0\n    - strokes: x-------",
            SMALL.replace("X-x- X-x-", r"X-x-\tX-\nx-"),
            SMALL.replace('"X-x- X-x-"', "|\n        X-x-\n        X-x-"),
            SMALL.replace("1 5 1 5", ""),
            SMALL.replace("1 5 1 5", "1155"),
            SMALL.replace("1 5 1 5", '" b3 5,10 >1"'),
            SMALL.replace("1 5 1 5", "1 * 10 >"),
            TWO.replace("1 5", "31"),
        ],
    )
    def test_what_one_takes_the_other_takes_too(self, text: str) -> None:
        """A number as YAML writes it, any word for a title, blanks, an empty list of fills."""
        read(text, "x.yaml")
        jsonschema.validate(_as_json(text), schema())

    @pytest.mark.parametrize(
        ("text", "sentence"),
        [
            (SMALL + 'phrase: {bars: "4"}', "phrase.bars is '4'; give a whole number without quo"),
            (SMALL + "feel: {swing: '0.6'}", "feel.swing is '0.6'; give a number without quotes"),
            (SMALL + "phrase: {bars: 4.5}", "phrase.bars is 4.5; give a whole number"),
            (SMALL + "phrase: {bars: 0x11}", "phrase.bars is 17; give 1 to 16"),
            (SMALL + "phrase: {bars: true}", "phrase.bars is true; give a whole number"),
            (SMALL + "phrase: {bars: }", "phrase.bars is empty; give a whole number"),
            (SMALL + "register: {lowest: ' E1'}", "register.lowest is  E1; give a note with its"),
            (SMALL + "title: [a, b]", "title is a list; give words"),
            (SMALL + "metres: [4/ 5]", "metres is 4/ 5; give a metre such as"),
            (SMALL + "pools:\n  minor:\n    11: 1", "pools.minor.11 is no degree; give 1, b3, 5,"),
            (SMALL + "pools: {minor: {1: 0, 5: 0}}", "pools.minor is without any weight; give at"),
            (SMALL + "approach: {ways: {fifth: 0}}", "approach.ways is without any weight; give"),
            (SMALL + "      weight: 0", "rhythm.figures is without any weight; give at least one"),
            (SMALL + "  fills: [{strokes: x-------, weight: 0}]", "rhythm.fills is without any we"),
            (SMALL.replace("X-x- X-x-", "--.. ...."), "strokes is '--.. ....'; give X, x, g, -"),
            (SMALL.replace("X-x- X-x-", ""), "strokes is '' (0 signs); give 8 signs for a bar"),
            (TWO.replace("1 5", "13"), "tones is 13; give degrees such as"),
            (TWO.replace("1 5", "'>13'"), "tones is >13; give degrees such as"),
            (SMALL.replace("1 5 1 5", "'1 #11 5'"), "tones is #11; give degrees such as"),
            (SMALL.replace("1 5 1 5", "1 5 h 5"), "tones is h; give degrees such as"),
            (SMALL.replace("1 5 1 5", "1.5"), "tones is .; give degrees such as"),
        ],
    )
    def test_what_one_refuses_the_other_refuses_too(self, text: str, sentence: str) -> None:
        """Quotes make words of a number; a list of which nothing can be played is none."""
        with pytest.raises(PresetError, match=re.escape(sentence)):
            read(text, "x.yaml")
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(_as_json(text), schema())


def _as_json(text: str) -> object:
    return json.loads(json.dumps(yaml.safe_load(text)))


class TestGuide:
    """What docs/presets.md teaches."""

    def test_every_step_of_the_guide_is_a_preset_that_loads(self) -> None:
        """From the first figure to the whole style; a section given again replaces the first."""
        sections: dict[str, str] = {}
        for block in re.findall(r"```yaml\n(.*?)```", GUIDE.read_text("utf-8"), re.DOTALL):
            sections |= {
                s.partition(":")[0]: s for s in re.findall(r"(?m)^\S.*\n(?: .*\n)*", block)
            }
            style = read("".join(sections.values()), "mine.yaml")

        assert style.title == "Mine"

    @pytest.mark.slow
    def test_the_page_of_styles_is_up_to_date(self) -> None:
        """Write it again with python -m bench.sheet > docs/styles.md."""
        assert (GUIDE.parent / "styles.md").read_text("utf-8") == "\n".join(page()) + "\n"

    def test_every_key_is_listed(self) -> None:
        """A key that can be written is told of."""
        told = GUIDE.read_text("utf-8")
        keys = [f"`{name}.{f.name}`" for name, section in SECTIONS.items() for f in fields(section)]

        assert [key for key in keys if key not in told] == []
        assert [way.value for way in Way if f"`{way.value}`" not in told] == []


class TestOwn:
    """Presets that a player writes."""

    @pytest.mark.parametrize(
        ("platform", "environment", "path"),
        [
            ("linux", {"HOME": "/home/a"}, "/home/a/.config/groundling/presets"),
            ("linux", {"HOME": "/home/a", "XDG_CONFIG_HOME": "/c"}, "/c/groundling/presets"),
            ("darwin", {"HOME": "/a"}, "/a/Library/Application Support/groundling/presets"),
            ("win32", {"APPDATA": "/a/Roaming"}, "/a/Roaming/groundling/presets"),
        ],
    )
    def test_they_lie_where_the_platform_keeps_settings(
        self, platform: str, environment: dict[str, str], path: str
    ) -> None:
        """Each system has its own folder."""
        assert folder(platform, environment) == Path(path)

    def test_a_new_one_begins_as_a_copy_and_loads(self, tmp_path: Path) -> None:
        """It has its own name and title, and everything else of the other."""
        path = begin("my-soul", "soul", tmp_path / "presets")
        style = load(path)

        assert (style.name, style.title) == ("my-soul", "My soul")
        assert style.rhythm == load("soul").rhythm
        assert own_names(tmp_path / "presets") == ["my-soul"]
        assert path_of("my-soul", tmp_path / "presets") == str(path)
        assert path_of("soul", tmp_path / "presets") == "soul"

    @pytest.mark.parametrize(
        ("name", "better"),
        [("MyGroove", "mygroove"), ("late shift", "late-shift"), ("_1", "1"), ("ö", "my-own"),
         ("Rock", "my-rock")],
    )  # fmt: skip
    def test_a_file_whose_name_will_not_do_is_told_a_better_one(
        self, tmp_path: Path, name: str, better: str
    ) -> None:
        """It is listed, who asks for it learns what a name looks like, and so named it plays."""
        (tmp_path / f"{name}.yaml").write_text(SMALL)
        told = f"{name}.yaml will not do as a name; give the file one of small letters, digits"

        assert own_names(tmp_path) == [name]
        with pytest.raises(PresetError, match=rf"^{told} and hyphens, such as {better}\.yaml$"):
            path_of(name, tmp_path)
        (tmp_path / f"{name}.yaml").rename(tmp_path / f"{better}.yaml")
        assert load(path_of(better, tmp_path)).name == better

    def test_only_preset_files_are_listed(self, tmp_path: Path) -> None:
        """A folder and what an editor hides are none, and nobody has to be told about them."""
        (tmp_path / "groove.yaml").mkdir()
        (tmp_path / ".mine.yaml").write_text(SMALL)

        assert own_names(tmp_path) == []

    def test_one_in_place_of_a_shipped_one_is_listed_once(self, tmp_path: Path) -> None:
        """A rock of one's own is played for rock, and the list has it where rock stands anyway."""
        (tmp_path / "rock.yaml").write_text(SMALL)
        (tmp_path / "mine.yaml").write_text(SMALL)

        assert own_names(tmp_path) == ["mine"]
        assert load(path_of("rock", tmp_path)).rhythm == read(SMALL, "rock.yaml").rhythm

    def test_one_that_begins_with_a_byte_order_mark_can_be_copied(self, tmp_path: Path) -> None:
        """Some editors put one first; it is sound, so it can be begun from, and goes no further."""
        path = tmp_path / "marked.yaml"
        path.write_bytes(SMALL.encode("utf-8-sig"))
        copy = begin("mine", str(path), tmp_path)

        assert load(copy).rhythm == load(path).rhythm
        assert text_of(str(path)) == SMALL
        assert "\ufeff" not in copy.read_text("utf-8")

    @pytest.mark.parametrize(
        ("name", "other", "sentence"),
        [
            ("../evil", "soul", "'../evil' will not do as a name"),
            ("walking", "soul", "walking comes with Groundling; give another name, such as my-"),
            ("taken", "soul", "is there already; give another name"),
            ("mine", "sol", "there is no preset sol; did you mean soul?"),
        ],
    )
    def test_a_new_one_overwrites_nothing(
        self, tmp_path: Path, name: str, other: str, sentence: str
    ) -> None:
        """No path for a name, no file lost, no copy of what is not there."""
        (tmp_path / "taken.yaml").write_text("")

        with pytest.raises(PresetError, match=re.escape(sentence)):
            begin(name, other, tmp_path)

        assert own_names(tmp_path) == ["taken"]


class TestReading:
    """What a file says becomes a style."""

    def test_the_least_preset_is_a_grid_and_a_figure(self) -> None:
        """Everything else has a usual value."""
        style = read(SMALL, "small.yaml")

        assert style == Style(
            "small",
            Rhythm(Grid.EIGHTHS, (Figure.of("X-x- X-x-", "1 5 1 5", Grid.EIGHTHS),)),
        )

    def test_sections_are_read(self) -> None:
        """Notes by name, ways and pools with weights, metres as written."""
        style = read(
            SMALL
            + "metres: [4/4, 3/4]\nregister: {lowest: E1, highest: Bb2, home: A1}\n"
            + "approach: {led: 0.2, ways: {semitone below: 2, fifth: 1}}\n"
            + "pools: {minor: {1: 3, b7: 1}}\nneck: {tuning: [B0, E1, A1, D2, G2]}\n",
            "small.yaml",
        )

        assert [str(metre) for metre in style.metres] == ["4/4", "3/4"]
        assert style.register == Register(28, 46, 33)
        assert style.approach.ways == ((Way.SEMITONE_BELOW, 2), (Way.FIFTH, 1))
        assert style.pools == ((Family.MINOR, (("1", 3), ("b7", 1))),)
        assert style.neck.tuning == (23, 28, 33, 38, 43)

    @pytest.mark.parametrize("tones", ["1 1 5 5", "11 55", "1155", '"1 155"'])
    def test_tones_may_stand_as_close_as_their_strokes(self, tones: str) -> None:
        """Two roots and two fifths, with blanks or without."""
        text = SMALL.replace("1 5 1 5", tones)

        assert read(text, "x.yaml") == read(SMALL.replace("1 5 1 5", "1 1 5 5"), "x.yaml")

    def test_a_preset_is_read_from_a_path(self, tmp_path: Path) -> None:
        """A file of one's own goes by its path and takes its name."""
        path = tmp_path / "mine.yaml"
        path.write_text(SMALL)

        assert load(path).name == "mine"


class TestMistakes:
    """File, line, key, value, and what would do."""

    @pytest.mark.parametrize(
        ("text", "line", "sentence"),
        [
            (SMALL + "interplay: {room: 2}\n", 6, "interplay.room is 2; give 0 to 1"),
            (
                SMALL + "interplay: {loudnes: 1}\n",
                6,
                "interplay.loudnes is not known; did you mean loudness?",
            ),
            (SMALL + "feel:\n  swing: 3\n", 7, "feel.swing is 3; give 0.5 to 0.75"),
            (SMALL + "feel:\n  swng: 0.6\n", 7, "feel.swng is not known; did you mean swing?"),
            (
                SMALL + "feel: 3\n",
                6,
                "feel is 3; give keys: swing, swing_on, lay_back_ms, looseness_ms",
            ),
            (SMALL + "touch: {accent: loud}\n", 6, "touch.accent is loud; give a whole number"),
            (SMALL + "touch: {accent: 99.5}\n", 6, "touch.accent is 99.5; give a whole number"),
            (SMALL + "metres: [4/5]\n", 6, "metres is 4/5; give a metre such as 4/4 or 12/8"),
            (
                SMALL + "register: {lowest: H1}\n",
                6,
                "register.lowest is H1; give a note with its octave, such as E1 or Bb2",
            ),
            (
                SMALL + "register: {home: C4}\n",
                6,
                "register.home is C4; give a note from lowest to highest, E1 to E3",
            ),
            (
                SMALL + "pools: {major: {13: 1}}\n",
                6,
                "pools.major.13 is no degree; give 1, b3, 5, 6, 8 or the like",
            ),
            (
                SMALL + "title: a\nquiet_pools:\n  major:\n    1: 1\n    0: 1\n",
                10,
                "quiet_pools.major.0 is no degree; give 1, b3, 5, 6, 8 or the like",
            ),
            (
                SMALL + "pools: {mejor: {1: 1}}\n",
                6,
                "pools.mejor is not known; did you mean major?",
            ),
            (
                SMALL + "approach: {ways: {semitone abov: 1}}\n",
                6,
                "approach.ways.semitone abov is not known; did you mean semitone above?",
            ),
            (
                SMALL + "approach: {ways: {fifth: 0}}\n",
                6,
                "approach.ways is without any weight; give at least one weight above 0",
            ),
            (
                SMALL + "tempo: {low: 120, high: 90}\n",
                6,
                "tempo.low is 120; give no more than high, 90",
            ),
            (SMALL + "title: a\ntitle: b\n", 7, "title is given twice; give it once"),
            (
                SMALL + "pools: {major: {1: 1, 5: 1, 1: 2}}",
                6,
                "pools.major.1 is given twice; give it once",
            ),
            (
                SMALL + "touch: &plain {length: 0.5}\nfeel: {<<: *plain}\n",
                7,
                "feel.<< would merge another block; write its keys out here",
            ),
            (
                SMALL + "pools: {major: &all {1: 1}, minor: {<<: *all}}\n",
                6,
                "pools.minor.<< would merge another block; write its tones out here",
            ),
            (SMALL + "phrase: {turns: [ad]}\n", 6, "phrase.turns is ad; did you mean add?"),
            (
                SMALL + "approach:\n  ways:\n    scale below: 1\n    fifth: 200\n",
                9,
                "approach.ways.fifth is 200; give 0 to 100",
            ),
            (SMALL + "register: {lowest: E9}\n", 6, "register.lowest is E9; give C0 to C5"),
            (
                SMALL + "neck: {frets: 5, tuning: [E1, A1, E2, A2]}\n",
                6,
                "neck.tuning is E1 A1 E2 A2; give strings no further apart than 6 semitones,",
            ),
            (
                SMALL + "neck: {tuning: [E1, D1, A1]}\n",
                6,
                "neck.tuning is E1 D1 A1; give 3 to 6 open strings, lowest first",
            ),
            (SMALL.replace("tones: 1 5 1 5", "weight: 200"), 5, "rhythm.figures.weight is 200"),
            (
                SMALL.replace("tones: 1 5 1 5", "weight: 200")
                + "    - strokes: x-------\n      weight: 2\n",
                5,
                "rhythm.figures.weight is 200; give 0 to 100",
            ),
            (SMALL + "? [a]\n: 1\n", 6, "the preset has a list for a key; give a word"),
            ("title: nothing\n", 1, "rhythm is missing; give it a grid and at least one figure"),
            ("", 0, "the preset is empty; give at least rhythm with one figure"),
            ("- a\n", 1, "the preset is a list; give keys: title"),
            ("a: [\n", 2, ""),
            (SMALL.replace("eighths", "eights"), 2, "rhythm.grid is eights; did you mean eighths?"),
            (
                SMALL.replace('"X-x- X-x-"', '"X-x- X-x"'),
                4,
                "strokes is 'X-x- X-x' (7 signs); give 8 signs for a bar of 4/4 in eighths",
            ),
            (
                SMALL.replace('"X-x- X-x-"', '"X-y- X-x-"'),
                4,
                "strokes is 'X-y- X-x-'; give X, x, g, - and . with at least one stroke",
            ),
            (
                SMALL.replace("1 5 1 5", "1 5 1"),
                5,
                "tones is '1 5 1' (3 tones); give 4, one for each X or x",
            ),
            (SMALL.replace("1 5 1 5", "1 5 1 h"), 5, "tones is h; give degrees such as"),
            (TWO.replace("1 5", "13"), 5, "tones is 13; give degrees such as 1 b3 5 5, 8;"),
            (TWO.replace("1 5", '"13"'), 5, "tones is 13; give degrees such as"),
            (TWO.replace("1 5", '">13"'), 5, "tones is >13; give degrees such as"),
            (TWO.replace("1 5", "b13"), 5, "tones is b13; give degrees such as"),
            (TWO.replace("1 5", '"#11"'), 5, "tones is #11; give degrees such as"),
            (SMALL.replace("1 5 1 5", "1 13 5"), 5, "tones is 13; give degrees such as"),
            (
                TRIPLETS + "metres: [7/8]\n",
                2,
                "rhythm.grid is triplets, which do not fill a bar of 7/8 evenly; give eighths or"
                " sixteenths",
            ),
            (
                TRIPLETS + "      metre: 7/16\n",
                2,
                "rhythm.grid is triplets, which do not fill a bar of 7/16 evenly; give sixteenths",
            ),
            (
                TRIPLETS + "      metre: 3/32\n",
                2,
                "rhythm.grid is triplets, which do not fill a bar of 3/32 evenly; give a metre that"
                " they fill, such as 4/4",
            ),
        ],
    )
    def test_a_mistake_is_told_with_its_line_and_its_remedy(
        self, text: str, line: int, sentence: str
    ) -> None:
        """No traceback: where, what, and what would do."""
        with pytest.raises(PresetError) as caught:
            read(text, "x.yaml")

        place = f"x.yaml line {line}: " if line else "x.yaml: "
        assert str(caught.value).startswith(place + sentence)

    def test_an_unknown_name_gets_the_nearest_one(self) -> None:
        """A typing slip is guessed."""
        with pytest.raises(PresetError, match=r"no preset wlking; did you mean walking\?"):
            load("wlking")

    def test_a_file_that_is_not_text_is_said_to_be_so(self, tmp_path: Path) -> None:
        """A MIDI file is no preset."""
        path = tmp_path / "song.mid"
        path.write_bytes(b"MThd\x00\xff\xfe")

        with pytest.raises(PresetError, match=r"song\.mid is not text"):
            load(path)

    def test_a_file_in_another_encoding_is_to_be_saved_as_utf_8(self, tmp_path: Path) -> None:
        """A description with an umlaut, as some editors still write it."""
        path = tmp_path / "mine.yaml"
        path.write_bytes(f"description: Zögernd.\n{SMALL}".encode("latin-1"))

        with pytest.raises(
            PresetError, match=r"mine\.yaml is not text in UTF-8; .* save it as UTF-8"
        ):
            load(path)


class TestLimits:
    """A style cannot be made wrong in code either."""

    @pytest.mark.parametrize(
        ("make", "sentence"),
        [
            (lambda: Tempo(low=5), "tempo.low is 5; give 20 to 400"),
            (lambda: Register(28, 35, 30), "register.highest is B1; give at least an octave"),
            (lambda: Touch(ghost=50, plain=45), "touch.plain is 45; give ghost below plain"),
            (lambda: Rhythm(Grid.EIGHTHS, ()), "rhythm.figures is empty; give at least one figure"),
        ],
    )
    def test_a_value_out_of_limits_is_refused(self, make: object, sentence: str) -> None:
        """The error names the thing, the value and what would do."""
        with pytest.raises(StyleError) as caught:
            make()  # type: ignore[operator]

        assert str(caught.value).startswith(sentence)
