"""The dictionary of free text: what it reads, what it leaves alone, and how often it is wrong."""

from pathlib import Path

import pandas as pd
import pytest

from pumplife.errors import RecordError
from pumplife.records.read import read_records
from pumplife.records.words import SEVERAL, read_words

PHRASES = Path(__file__).parents[1] / "reference" / "phrases.csv"


@pytest.fixture(scope="module")
def words():
    return read_words()


def test_a_labelled_sample_is_never_misread_and_hardly_missed(words):
    """94 phrases in six languages, invented and labelled by whoever wrote the dictionary, so that
    a plant's own words will do worse: no wrong part, no wrong mode, 2 of 62 left unread."""
    sample = pd.read_csv(PHRASES, keep_default_na=False)
    read = [words.read(text) for text in sample["text"]]
    part = pd.Series([one.part if one.beside and one.part != SEVERAL else "" for one in read])
    mode = pd.Series([one.mode for one in read]).where(part.ne(""), "")
    assert len(sample) >= 90
    assert (part.eq(sample["part"]) | part.eq("")).all()
    told = part.ne("")
    assert mode[told].eq(sample["mode"][told]).all()
    missed = sample["part"].ne("") & ~told
    assert missed.sum() / sample["part"].ne("").sum() < 0.05
    assert set(sample["language"]) == {"en", "de", "fr", "es", "it", "nl"}


@pytest.mark.parametrize(
    "text",
    [
        "no leak",
        "not replaced",
        "kein Defekt",
        "Membrane nicht gerissen",
        "membrane non déchirée",
        "membrana no rota",
        "membrana non rotta",
        "membraan niet gescheurd",
        "diaphragm isn't torn",
        "suspected diaphragm failure",
    ],
)
def test_a_negation_blames_nothing(words, text):
    read = words.read(text)
    assert (read.part, read.mode, read.beside) == ("", "", False)


def test_a_negation_ends_with_its_clause(words):
    read = words.read("Membrane nicht gerissen, Kugel defekt")
    assert (read.part, read.mode) == ("ball", "failed")


@pytest.mark.parametrize("text", ["ball and seat worn", "ball, seat worn", "Kugel/Sitz kaputt"])
def test_several_parts_are_no_part(words, text):
    assert words.read(text).part == SEVERAL


def test_slips_of_the_pen_are_read_in_long_words_only(words):
    assert words.read("Membrnae gerisen").part == "diaphragm"  # one letter from 6, two from 9
    assert words.read("diafragm torn").part == "diaphragm"
    assert words.read("bal stuck").part == ""
    assert words.read("value stuck").part == ""


def test_compound_words_are_read_in_both_halves(words):
    read = words.read("Membranbruch")
    assert (read.part, read.mode) == ("diaphragm", "ruptured")


def test_accents_may_be_left_out_but_not_put_in(words):
    assert words.read("membrane dechiree").mode == "ruptured"
    assert words.read("día de rotura").part == ""


SETTINGS = '[text.rebuilds]\nnote = ["failed_part", "failure_mode", "reason"]\n'
HEADING = "rebuild_id,pump_id,opened_on,reason,kit,failed_part,note\n"
ROWS = (
    "R1,P1,2020-03-04,breakdown,FK,,Membrane gerissen\n"
    "R2,P2,2021-06-07,planned,FK,,balls worn\n"
    "R3,P3,2022-08-09,breakdown,FK,seat,ball stuck\n"
    'R4,P3,2022-10-09,,FK,,"unplanned, ball stuck"\n'
    "R5,P1,2022-10-09,breakdown,FK,,no leak at the diaphragm\n"
    "R6,P2,2022-10-09,breakdown,FK,,ball and seat worn\n"
)


def _rules(records, rule):
    rows = records.log.frame()
    return rows[rows["rule"].eq(rule)]


def test_a_note_fills_what_nobody_wrote_and_says_so(write_plant, small_settings):
    records = read_records(write_plant(small_settings + SETTINGS, rebuilds=HEADING + ROWS))
    rebuilds = records.table("rebuilds")
    assert list(rebuilds["failed_part"]) == ["diaphragm", "", "seat", "ball", "", ""]
    assert (
        list(rebuilds["reason"])
        == ["breakdown", "planned", "breakdown", "breakdown"] + ["breakdown"] * 2
    )
    assert list(rebuilds["from_text"]) == [True, False, False, True, False, False]
    told = _rules(records, "read_from_text")
    assert (told["consequence"] == "Used with an assumption.").all()
    assert 'failed_part "diaphragm" was read from the words "membrane gerissen"' in " ".join(
        told["what"]
    )
    assert told["what"].str.contains("in 1 row").all()
    assert "several parts in 1 row" in _rules(records, "text_of_several")["what"].iloc[0]


def test_the_account_of_a_ticket_says_that_it_was_read_from_text(write_plant, small_settings):
    from pumplife.study import audit_records

    account = audit_records(write_plant(small_settings + SETTINGS, rebuilds=HEADING + ROWS)).account
    status = account[account["kind"].eq("ticket")].set_index("rows")["status"]
    assert status["2"] == status["5"] == "used with an assumption"
    assert status["4"] == "used"


def test_without_a_line_in_the_settings_no_text_is_read(write_plant):
    records = read_records(write_plant(rebuilds=HEADING + ROWS))
    assert list(records.table("rebuilds")["failed_part"]) == ["", "", "seat", "", "", ""]
    assert _rules(records, "read_from_text").empty


def test_a_column_may_be_read_as_its_own_text(write_plant, small_settings):
    settings = small_settings + '[text.rebuilds]\nfailed_part = ["failed_part"]\n'
    text = HEADING + "R1,P1,2020-03-04,breakdown,FK,Membr. gerissen/Membrane,\n"
    records = read_records(write_plant(settings, rebuilds=text))
    assert list(records.table("rebuilds")["failed_part"]) == ["diaphragm"]


def test_the_plants_own_words_come_first(write_plant, small_settings):
    folder = write_plant(small_settings + SETTINGS, rebuilds=HEADING + ROWS)
    own = "language;word;kind;meaning\nde;gerissen;not;\nen;stuck;mode;jammed\n"
    (folder / "words.csv").write_text(own, encoding="utf-8")
    records = read_records(folder)
    assert list(records.table("rebuilds")["failed_part"]) == ["", "", "seat", "ball", "", ""]
    assert records.table("rebuilds")["failure_mode"][3] == "jammed"
    assert "words.csv" in records.hashes
    assert "2 words of the plant's own" in _rules(records, "own_words")["what"].iloc[0]
    assert _rules(records, "unknown_file").empty


def test_a_word_that_cannot_be_used_is_named(write_plant, small_settings):
    folder = write_plant(small_settings + SETTINGS)
    (folder / "words.csv").write_text("word,kind,meaning\nfoo,noun,bar\n", encoding="utf-8")
    with pytest.raises(RecordError, match=r'words\.csv row 2: the word "foo" of kind "noun"'):
        read_records(folder)


def test_a_text_column_that_is_not_there_is_cautioned(write_plant, small_settings):
    records = read_records(write_plant(small_settings + SETTINGS))
    assert 'names the column "note", which' in _rules(records, "text_column")["what"].iloc[0]
