"""A sentence is text like any other, and remembers its template and its quantities."""

import copy
import pickle

import pytest

from hardpan.core.said import Said, depth, joined, marked


def test_a_sentence_keeps_its_parts_through_a_copy_and_another_process():
    said = Said("the {odd} at {depth}", odd="{brace}", depth=depth(450))
    for again in (pickle.loads(pickle.dumps(said)), copy.deepcopy(said)):
        assert again == said == "the {brace} at 450 mm"
        assert (again.template, dict(again.parts)) == (said.template, dict(said.parts))


def test_sentences_within_sentences_are_told_too():
    inner = [Said("{depth}", depth=depth(one)) for one in (300, 450)]
    said = Said("from {both}.", both=joined(inner, " to "))
    assert said == "from 300 mm to 450 mm."
    assert said.told(lambda amount: f"{amount.value / 10:g} cm") == "from 30 cm to 45 cm."


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("nothing to measure", "nothing to measure"),
        ("clay within {600 mm}", "clay within 600 mm"),
        ("pH in {0-100 [mm]}, {100-200 [mm]} and {200-300 mm}; lime", "pH in 0-100, 100-200 and 200-300 mm; lime"),
        ("at {2.5 t/ha} or {1500 kg/ha}", "at 2.5 t/ha or 1500 kg/ha"),
    ],
)
def test_quantities_in_braces_are_read(text, shown):
    assert marked(text) == shown


def test_marked_quantities_are_told_in_other_units():
    said = marked("pH in {0-100 [mm]} and {100-200 mm}")
    assert said.told(lambda a: f"{a.value / 10:g}" + ("" if a.bare else " cm")) == "pH in 0-10 and 10-20 cm"


@pytest.mark.parametrize("text", ["within {600 mm", "within {600 foot}", "within {deep mm}", "within {600}"])
def test_a_mark_that_is_no_quantity_is_refused(text):
    with pytest.raises(ValueError, match=r"brace|a number and a unit"):
        marked(text)
