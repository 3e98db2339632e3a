"""What several engines have counted, as one."""

from ripieno.engine.loop import Counts
from ripieno.engine.messages import Answer
from ripieno.host.counting import counts_of, together


def counted(sent: int, latest_ns: int) -> dict[str, int]:
    counts = Counts(received=5, sent=sent, latest_ns=latest_ns)
    return counts_of(Answer(0, None, counts, 1, 2, 3, skipped=4, renewed=6))


def test_each_count_has_its_own_name() -> None:
    found = counted(7, 8000)
    assert {name: count for name, count in found.items() if count} == {
        "received": 5, "sent": 7, "latest_us": 8, "lost_inputs": 1, "dropped_news": 2, "unheard": 3,
        "skipped": 4, "renewed": 6,
    }  # fmt: skip


def test_counts_are_added_and_of_the_latest_the_later_stays() -> None:
    both = together(counted(7, 8000), counted(10, 3000))
    assert (both["sent"], both["received"], both["latest_us"]) == (17, 10, 8)
    assert together({}, counted(7, 8000)) == counted(7, 8000)
