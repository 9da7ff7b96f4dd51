"""The wearing sheet reads easily, and says what the cautions say."""

from __future__ import annotations

import re

import pytest

from viewer.sheets.wearing import wearing_words

# Kincaid JP, Fishburne RP, Rogers RL, Chissom BS 1975, Derivation of new readability formulas for Navy enlisted
# personnel, Research Branch Report 8-75, Chief of Naval Technical Training: the grade level below. A child in US grade
# n is n + 5 to n + 6 years old, so grade 6 is read at 11-12.
GRADE_OF_TWELVE = 6.0


def syllables(word: str) -> int:
    """Groups of vowels, without a silent e at the end: the usual approximation."""
    letters = re.sub(r"[^a-z]", "", word.lower())
    if not letters:
        return 1
    trimmed = re.sub(
        r"(?<=[^aeiouyl])e$|(?<=[aeiouy])le(?=d$)|(?<=[^aeiouydt])e(?=d$)|(?<=[^aeiouysxzcg])e(?=s$)",
        "",
        letters,
    )
    return max(1, len(re.findall(r"[aeiouy]+", trimmed)))


def grade(texts: list[str]) -> float:
    """Flesch-Kincaid grade level."""
    whole = " ".join(texts)
    sentences = [s for s in re.split(r"[.!?:]+(?:[”\s]|$)", whole) if re.search(r"[A-Za-z]", s)]
    words = re.findall(r"[A-Za-z’'-]+", whole)
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def test_the_syllables_of_known_words():
    known = {
        "headgear": 2,
        "emergency": 4,
        "wear": 1,
        "pulled": 1,
        "table": 2,
        "mouth": 1,
        "hospital": 3,
        "piece": 1,
    }
    assert {w: syllables(w) for w in known} == known


def test_the_formula_on_a_text_worked_by_hand():
    """Two sentences, nine words, nine syllables: 0.39 * 4.5 + 11.8 - 15.59 = -2.035."""
    assert grade(["The cat sat on the mat.", "It was red."]) == pytest.approx(-2.035)


def test_a_hard_text_would_fail():
    hard = "Practitioners should periodically evaluate the retention characteristics of extraoral appliances."
    assert grade([hard]) > 15.0


def test_the_wearing_sheet_is_read_at_twelve():
    assert grade(wearing_words()) <= GRADE_OF_TWELVE
    for text in wearing_words():
        for sentence in re.split(r"(?<=[.!?:])\s", text):
            assert len(sentence.split()) <= 16, sentence


@pytest.mark.parametrize(
    "said",
    [
        "strap comes off FIRST", "Never lift bow and strap off in one piece over your face", "Never play, run, fight",
        "Never let anyone pull", "loose or off when you woke up", "This is an emergency", "even if the eye looks fine",
        "The wire was in my mouth", "Lock the bow in its tubes", "safety clips", "Do not pull the strap tighter",
    ],
)  # fmt: skip
def test_what_no_wearing_sheet_may_leave_out(said: str):
    assert said in " ".join(wearing_words())
