"""Every caution the design asks for is there, each with a source."""

from __future__ import annotations

import pytest

from casework.cautions import CAUTIONS, SHORT_CAUTION

TOPICS = {
    "licensed practitioners": "not a medical device",
    "Local rules": "maker's instructions",
    "can blind": "10 were left",
    "self-releasing": "AND a means that keeps the bow in the tubes",
    "strap off before the bow": "Take the",
    "Nobody may pull": "strap",
    "No play": "sport",
    "loose at night": "phone",
    "eye injury is an emergency": "contaminated",
    "at every visit": "record",
    "growth restraint": "promises no distal",
}


@pytest.mark.parametrize(("topic", "detail"), TOPICS.items())
def test_each_topic_has_a_sentence_with_a_source(topic: str, detail: str) -> None:
    found = [c for c in CAUTIONS if topic in c.text]
    assert len(found) == 1
    assert detail in found[0].text
    assert found[0].source


def test_there_is_nothing_that_no_topic_asks_for() -> None:
    assert len(CAUTIONS) == len(TOPICS)


def test_the_short_form_says_both_halves() -> None:
    assert "not a medical device" in SHORT_CAUTION
    assert "self-releasing strap AND bow secured" in SHORT_CAUTION
    assert "\n" not in SHORT_CAUTION
