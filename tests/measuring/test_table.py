"""Columns of words and figures."""

from symptomtree.measuring.picture import table


def test_columns_line_up() -> None:
    assert table(("click", "mm", ""), [("1", "3.95", "fits"), ("10", "4", "no")], 40) == [
        "click    mm",
        "    1  3.95  fits",
        "   10     4  no",
    ]


def test_no_wider_than_there_is_room() -> None:
    assert max(map(len, table(("a", "b"), [("1", "x" * 50)], 20))) == 20
