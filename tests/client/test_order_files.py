import contextlib
import time
from datetime import date
from typing import get_args

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from client.errors import InputWrong
from client.orders.read import read_order_file, resolved
from client.planning import order_here
from service.engine.order import Objective, Tolerance

HEAD = "ref;length;width;quantity;material;thickness"


@pytest.fixture
def wrote(tmp_path):
    def write(text, name="order.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(text.encode(encoding) if isinstance(text, str) else text)
        return path

    return write


@pytest.fixture
def read(stocked):
    def made(path, **given):
        given.setdefault("machine", "bench-3m")
        return resolved(read_order_file(path, **given), lambda document: order_here(stocked, document))

    return made


def workbook(path, rows, **titles):
    book = openpyxl.Workbook()
    sheet = book.active
    for row in rows:
        sheet.append(row)
    for title in titles:
        book.create_sheet(title)
    book.save(path)
    return path


def said(error):
    return str(error.value)


@pytest.mark.parametrize("delimiter", [";", ",", "\t"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_table_reads_the_same_however_it_was_saved(wrote, read, delimiter, mark, end):
    lines = [HEAD, 'P1;640;"118,5";24;S235JR;3', ";;;;;", "", "P2;600;300;8;S235JR;3", ""]
    order = read(wrote(mark + end.join(lines).replace(";", delimiter)))
    assert [(p.ref, p.length, p.width, p.quantity) for p in order.parts] == [
        ("P1", 64_000, 11_850, 24),
        ("P2", 60_000, 30_000, 8),
    ]
    assert order.order_ref == "order"
    assert [item.ref for item in order.stock] == ["SH-A"]


def test_a_decimal_comma_needs_no_quotes_between_semicolons(wrote, read):
    assert read(wrote(f"{HEAD}\nP1;640;118,5;24;S235JR;3\n")).parts[0].width == 11_850


def test_a_decimal_comma_without_quotes_between_commas_is_told(wrote, read):
    with pytest.raises(InputWrong) as error:
        read(wrote(f"{HEAD}\nP1;640;118,5;24;S235JR;3\n".replace(";", ",")))
    assert "line 2: holds more values than there are columns" in said(error)


def test_headings_may_be_written_in_the_usual_ways(wrote, read):
    head = "Pos.;Length (mm);Width [in];QTY;Grade;thickness_mm;Grain;Tolerance"
    order = read(wrote(f"{head}\n7;600;2 1/2;3;S235JR;3;along;±0,5\n"))
    part = order.parts[0]
    assert (part.ref, part.length, part.width, part.grain) == ("7", 60_000, 6_350, "along")
    assert part.tolerance == Tolerance("m", 50, 50)


@pytest.mark.parametrize(
    ("text", "tolerance"),
    [
        ("", Tolerance()),
        ("f", Tolerance("f")),
        ("C", Tolerance("c")),
        ("0,2", Tolerance("m", 20, 20)),
        ("+/-0.3", Tolerance("m", 30, 30)),
        ("+0.5/-0,2", Tolerance("m", 20, 50)),
        ("+0.5 -0", Tolerance("m", 0, 50)),
    ],
)
def test_tolerances_are_classes_or_limits(wrote, read, text, tolerance):
    order = read(wrote(f"{HEAD};tolerance\nP1;640;100;24;S235JR;3;{text}\n"))
    assert order.parts[0].tolerance == tolerance


def test_limits_in_columns_of_their_own(wrote, read):
    order = read(wrote(f"{HEAD};tolerance;plus;minus\nP1;640;100;24;S235JR;3;f;0.5;0\n"))
    assert order.parts[0].tolerance == Tolerance("f", 0, 50)


def test_rotate_says_the_same_as_grain(wrote, read):
    order = read(wrote(f"{HEAD};rotate\nA;640;100;4;S235JR;3;no\nB;640;100;4;S235JR;3;yes\n"))
    assert [part.grain for part in order.parts] == ["along", "any"]


def test_sizes_in_inches_and_gauge_numbers(wrote, read):
    path = wrote(f'{HEAD}\nP1;24;"2 1/2""";4;S235JR;16 ga\nP2;600 mm;12;4;S235JR;16 ga\n')
    order = read(path, units="in", gauge_table="steel")
    assert [(p.length, p.width, p.thickness) for p in order.parts] == [
        (60_960, 6_350, 152),
        (60_000, 30_480, 152),
    ]


def test_missing_columns_are_named(wrote, read):
    with pytest.raises(InputWrong, match="line 1: columns width, material are missing"):
        read(wrote("ref;length;quantity;thickness\nP1;640;24;3\n"))


def test_unknown_and_doubled_columns_are_refused_in_words(wrote, read):
    with pytest.raises(InputWrong) as error:
        read(wrote(f"{HEAD};colour;qty\nP1;640;100;24;S235JR;3;red;24\n"))
    assert "column G: 'colour' is not a column of an order" in said(error)
    assert "column H: 'qty' and 'quantity' (column D) both mean quantity" in said(error)


def test_every_wrong_line_is_told_with_line_and_column_in_one_run(wrote, read):
    lines = [
        HEAD,
        "P1;640;100;24;S235JR;3",
        "",
        "P2;;100;24;S235JR;3",
        "P3;640;wide;24;S235JR;3",
        "P4;640;100;2,5;S235JR;3",
        "P5;640;1,250;24;S235JR;3",
        "P6;640;100;24;S235XX;3",
        "P1;640;100;24;S235JR;3",
    ]
    with pytest.raises(InputWrong) as error:
        read(wrote("\n".join(lines)))
    text = said(error)
    assert "cannot be planned as it is: " in text
    assert "line 4, length: is missing" in text
    assert "line 5, width: 'wide' is not a length" in text
    assert "line 6, quantity: '2,5' is not a whole number" in text
    assert "line 7, width: '1,250' can be read two ways" in text
    assert text.index("line 4") < text.index("line 5") < text.index("line 6") < text.index("line 7")


def test_unknown_materials_and_duplicates_are_told_by_line_once_the_rest_is_well(wrote, read):
    lines = [HEAD, "P1;640;100;24;S235JR;3", "", "P6;640;100;24;S235XX;3", "P1;640;100;24;S235JR;3"]
    with pytest.raises(InputWrong) as error:
        read(wrote("\n".join(lines)))
    assert "line 4, material: " in said(error)
    assert "S235XX" in said(error)
    assert "line 5, ref: 'P1' is already used on line 2; each needs its own" in said(error)


def test_the_first_fifty_faults_are_shown_and_the_rest_counted(wrote, read):
    lines = [HEAD] + [f"P{n};wide;100;24;S235JR;3" for n in range(120)]
    with pytest.raises(InputWrong) as error:
        read(wrote("\n".join(lines)))
    assert "120 faults" in said(error)
    assert "line 51, length" in said(error)
    assert "line 52, length" not in said(error)
    assert "… and 70 more" in said(error)


def test_a_quoted_field_over_two_lines_keeps_the_line_numbers_right(wrote, read):
    with pytest.raises(InputWrong) as error:
        read(wrote(f'{HEAD}\n"P\n1";640;100;24;S235JR;3\nP2;wide;100;24;S235JR;3\n'))
    assert "line 2, ref: one line of text" in said(error)
    assert "line 4, length: 'wide'" in said(error)


def test_a_quote_that_does_not_end_is_told(wrote, read):
    with pytest.raises(InputWrong, match="line 3: a quoted field does not end"):
        read(wrote(f'{HEAD}\nP1;640;100;24;S235JR;3\n"P2;640;100;24;S235JR;3\n'))


def test_text_that_is_no_utf_8_is_read_as_windows_1252_with_a_note(wrote):
    path = wrote(f"{HEAD}\nBüchse;640;100;24;S235JR;3\n", encoding="cp1252")
    found = read_order_file(path, machine="bench-3m")
    assert found.document["parts"][0]["ref"] == "Büchse"
    assert "Windows-1252" in found.notes[0]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b";", "holds no lines"),
        (b"\xef\xbb\xbf", "holds no lines"),
        (b"\x00\x01\x02", "not a text table"),
        (b"hello world\n1;2\n", "no column name is known"),
        (HEAD.encode() + b"\n\n;;;;;\n", "no lines under them"),
    ],
)
def test_what_is_no_order_table_is_told(wrote, read, data, told):
    with pytest.raises(InputWrong, match=told):
        read(wrote(data))


def test_other_kinds_of_file_are_refused_with_those_that_are_read(wrote, read):
    with pytest.raises(InputWrong, match=r"\.pdf files are not read; wanted is \.csv"):
        read(wrote("x", "order.pdf"))
    with pytest.raises(InputWrong, match="cannot be read: No such file"):
        read(wrote("x").with_name("none.csv"))


def test_too_many_lines_are_refused(wrote, read):
    lines = [HEAD] + [f"P{n};640;100;1;S235JR;3" for n in range(10_001)]
    with pytest.raises(InputWrong, match="more than 10000 lines"):
        read(wrote("\n".join(lines)))


def test_too_large_a_file_is_refused(wrote, read, monkeypatch):
    monkeypatch.setattr("client.orders.table.MOST_BYTES", 100)
    with pytest.raises(InputWrong, match="is larger than"):
        read(wrote(f"{HEAD}\n" + "P1;640;100;24;S235JR;3\n" * 10))


def test_ten_thousand_lines_are_read_in_a_few_seconds(wrote, read):
    lines = [HEAD] + [f"P{n};{300 + n % 500};{100 + n % 77},5;{1 + n % 9};S235JR;3" for n in range(10_000)]
    path = wrote("\n".join(lines))
    began = time.perf_counter()
    assert len(read(path).parts) == 10_000
    assert time.perf_counter() - began < 15


def test_a_workbook_gives_the_same_order_as_the_table(tmp_path, wrote, read):
    rows = [
        HEAD.split(";"),
        ["P1", 640, 118.5, 24.0, "S235JR", 3],
        [None] * 6,
        [2, "600", "300 mm", "8", "S235JR", "3,0"],
    ]
    from_book = read(workbook(tmp_path / "order.xlsx", rows))
    from_text = read(wrote(f"{HEAD}\nP1;640;118,5;24;S235JR;3\n2;600;300;8;S235JR;3\n"))
    assert from_book == from_text


def test_a_workbook_tells_its_faults_by_row(tmp_path, read):
    rows = [
        [],
        HEAD.split(";"),
        ["P1", date(2026, 3, 2), 100, 24, "S235JR", 3],
        [],
        ["P2", 640, 100, 2.5, "S235JR", 3],
    ]
    with pytest.raises(InputWrong) as error:
        read(workbook(tmp_path / "order.xlsx", rows))
    assert "line 3, length: '2026-03-02 00:00:00' is not a length" in said(error)
    assert "line 5, quantity: '2.5' is not a whole number" in said(error)


def test_only_the_first_sheet_of_a_workbook_is_read_and_a_note_says_so(tmp_path):
    path = workbook(tmp_path / "o.xlsx", [HEAD.split(";"), ["P1", 1, 1, 1, "S235JR", 3]], Notes=1)
    assert "only the first" in read_order_file(path, machine="m").notes[0]


@pytest.mark.parametrize("data", [b"no zip at all", b"PK\x03\x04broken"])
def test_a_broken_workbook_is_told(wrote, read, data):
    with pytest.raises(InputWrong, match="workbook"):
        read(wrote(data, "order.xlsx"))


def test_a_json_order_may_say_all_and_the_command_wins(wrote, read):
    text = """{"order_ref": "W-1", "machine": "other", "parts": [{"ref": "P1", "length": "2 1/2\\"",
      "width": 100, "quantity": 2, "material": "S235JR", "thickness": 3}], "options": {"max_stages": 2}}"""
    order = read(wrote(text, "o.json"), order_ref="W-2", effort="quick")
    assert (order.order_ref, order.machine.id, order.parts[0].length) == ("W-2", "bench-3m", 6_350)
    assert (order.options.effort, order.options.max_stages) == ("quick", 2)


def test_the_command_has_every_option_of_the_contract():
    from client.cli_orders import plan
    from schemas.orders import OptionsSchema

    known = {option.name for option in plan.params}
    named = {"max_stages": "stages", "trim_mm": "trim"}
    for name, field in OptionsSchema().fields.items():
        wire = field.data_key or name
        # A comparison made here keeps all its plans, so none has to be picked.
        assert wire == "pick" or named.get(wire, wire) in known, wire
    objective = next(option for option in plan.params if option.name == "objective")
    assert set(objective.type.choices) == set(get_args(Objective))


def test_how_to_cut_may_be_told_by_the_command(wrote, read):
    text = f"{HEAD};value\nP1;640;118,5;24;S235JR;3;12,50\n"
    options = {
        "objective": "value",
        "stages": 2,
        "trim": "3/8 in",
        "offcut_min": "200 x 12 in",
        "batch": False,
    }
    order = read(wrote(text), **options)
    made = order.options
    assert order.parts[0].value == 12.5
    assert (made.objective, made.max_stages, made.batch) == ("value", 2, False)
    assert (made.trim, made.offcut_min) == (952, (30_480, 20_000))
    assert read(wrote(text), units="in", trim="0.25", gauge_table="steel").options.trim == 635


@pytest.mark.parametrize("amount", ["€ 12", "1,200.50", "1,000", "-3", "twelve"])
def test_an_amount_that_could_mean_two_things_is_told_by_its_line(wrote, read, amount):
    with pytest.raises(InputWrong, match="line 2, value: "):
        read(wrote(f"{HEAD};value\nP1;640;100;24;S235JR;3;{amount}\n"))


@pytest.mark.parametrize(
    "options", [{"trim": "much"}, {"trim": "-1"}, {"offcut_min": "300"}, {"offcut_min": "x2"}]
)
def test_a_length_of_the_command_that_is_none_is_told_with_its_option(wrote, options):
    (name,) = options
    with pytest.raises(InputWrong, match=f"--{name.replace('_', '-')}: "):
        read_order_file(wrote(f"{HEAD}\nP1;640;100;24;S235JR;3\n"), machine="m", **options)


def test_what_is_worth_most_wants_a_value_on_every_line(wrote, read):
    with pytest.raises(InputWrong, match=r"line 3, value: .* every part needs a value"):
        read(wrote(f"{HEAD};value\nP1;64;10;2;S235JR;3;5\nP2;64;10;2;S235JR;3;\n"), objective="value")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('{"parts": [}', "line 1, column 12: this is not JSON"),
        ('{"machine": "a", "machine": "b"}', "'machine' is there twice"),
        ('{"parts": NaN}', "NaN is not a number"),
        ("[1]", "a JSON object"),
        ('{"parts": [{"ref": "P1", "colour": "red"}]}', "/parts/0/colour: this field is not known here"),
        ("[" * 100_000, "nested"),
    ],
)
def test_wrong_json_is_told_by_its_place(wrote, read, text, told):
    with pytest.raises(InputWrong) as error:
        read(wrote(text, "o.json"))
    assert told in said(error)


def test_without_a_machine_nothing_is_guessed(wrote):
    with pytest.raises(InputWrong, match="which machine"):
        read_order_file(wrote(f"{HEAD}\nP1;640;100;24;S235JR;3\n"))


def test_an_unknown_machine_is_told(wrote, read):
    with pytest.raises(InputWrong, match="by the id 'none'; shearwright machines lists them"):
        read(wrote(f"{HEAD}\nP1;640;100;24;S235JR;3\n"), machine="none")


@given(st.text(max_size=300) | st.binary(max_size=300))
@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_file_whatever_ends_in_anything_but_an_order_or_words(wrote, read, data):
    for name in ("o.csv", "o.json", "o.xlsx"):
        path = wrote(data.encode("utf-8", "replace") if isinstance(data, str) else data, name)
        with contextlib.suppress(InputWrong):
            assert read(path).parts


@given(st.text(max_size=60))
@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_cell_whatever_ends_in_anything_but_an_order_or_words(wrote, read, cell):
    quoted = '"' + cell.replace('"', '""') + '"'
    for place in range(8):
        row = ["P1", "640", "100", "24", "S235JR", "3", "any", "m"]
        row[place] = quoted
        path = wrote(f"{HEAD};grain;tolerance\n{';'.join(row)}\n".encode("utf-8", "replace"))
        with contextlib.suppress(InputWrong):
            assert len(read(path).parts) == 1


def test_a_formula_that_was_never_calculated_is_named_as_one(read, tmp_path):
    # openpyxl writes formulas without their values, as programs do that are no spreadsheets.
    rows = [HEAD.split(";"), ["P1", 640, "=20*6", 4, "S235JR", 3]]
    with pytest.raises(InputWrong) as error:
        read(workbook(tmp_path / "o.xlsx", rows))
    assert "line 2, width: the formula =20*6 was never calculated" in said(error)


def test_a_point_for_thousands_beside_decimal_commas_is_asked_about(tmp_path):
    """1.200 beside 100,5 may be 1200 as well as 1.2; alone, a point is the decimal point."""
    head = "ref;length;width;quantity;material;thickness\n"
    path = tmp_path / "mixed.csv"
    path.write_text(head + "A;1.200;100,5;1;S235JR;3\nB;600;300;1;S235JR;1.5\n")
    with pytest.raises(InputWrong) as refused:
        read_order_file(path)
    assert "line 2, length: '1.200' can be read two ways" in str(refused.value)
    assert "write 1200 or 1,2" in str(refused.value)
    assert "line 3" not in str(refused.value)
    path.write_text(head + "A;1.200;100.5;1;S235JR;3\n")
    assert read_order_file(path, machine="bench").document["parts"][0]["length"] == "1.200"
