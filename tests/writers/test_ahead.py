"""What another thread makes ahead: the same items, errors in their place, and no thread left behind."""

from __future__ import annotations

import threading

import pytest

from cuetrack.writers.ahead import made_ahead


def mixing_threads():
    return [thread for thread in threading.enumerate() if thread.name == "mixing"]


def test_the_items_come_in_order():
    assert list(made_ahead(iter(range(1_000)))) == list(range(1_000))
    assert list(made_ahead([])) == []
    assert mixing_threads() == []


def test_an_error_comes_after_the_items_before_it():
    def failing():
        yield from (1, 2)
        raise RuntimeError("quay")

    items, seen = made_ahead(failing()), []
    with pytest.raises(RuntimeError, match="quay"):
        seen.extend(items)
    assert seen == [1, 2]
    assert mixing_threads() == []


def test_no_more_is_made_than_a_few_ahead():
    made = []
    items = made_ahead(made.append(number) or number for number in range(10_000))
    assert next(items) == 0
    items.close()
    assert len(made) < 20
    assert mixing_threads() == []
