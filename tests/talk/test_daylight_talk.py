"""Sunset, the forecast of the last larva, and bags against the target."""


def larva(pond, tag: str) -> None:
    pond.converse("y", "ok", "27", "darner", tag, "ok")


def test_where_tells_when_the_last_larva_is_likely_and_when_it_gets_dark(pond):
    pond.until("larva.look")
    assert "At this pace" not in pond.text("where")[0]
    larva(pond, "01402")
    larva(pond, "01415")
    where = pond.text("where")[0]
    assert "At this pace the last one is bagged about 11:" in where
    assert "sunset 22:0" in where


def test_an_hour_before_sunset_everyone_is_told_once(pond):
    pond.until("larva.look")
    pond.wait(60 * 10)
    pond.text("go")
    told = [out.text for out in pond.wait(90) if "sunset" in out.text]
    assert len(told) == 1
    assert told[0].startswith("ALL: an hour to sunset, 22:0")
    assert [out for out in pond.wait(120) if "sunset" in out.text] == []


def test_bags_that_are_short_are_told_as_larvae(pond):
    pond.until("kit.short")
    answer = " ".join(pond.text("only 20 bags"))
    assert "20 bags: 8 larvae." in answer
