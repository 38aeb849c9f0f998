"""What changes add up to."""

from packcodec.monitor.kept import Change, Kept


def test_of_the_repair_codes_sources_those_stay_that_its_ring_knows() -> None:
    kept = Kept(sources={3: b"c", 4: b"d", 5: b"e"})
    kept.add(Change(made=(4, 6, b"f")))
    assert kept.sources == {4: b"d", 5: b"e", 6: b"f"}
