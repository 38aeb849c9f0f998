"""Every refusal of the edge says what would be right, and the words of those that did not."""

import ast
import inspect
from pathlib import Path

import pytest
from conftest import Command
from small_schema import SPECIES, TOML

from packcodec import errors
from packcodec.edge import keys as edge_keys
from packcodec.edge.files import load
from packcodec.edge.keys import read_keys
from packcodec.errors import KeysError, LogError, PackcodecError, SchemaError

EDGE = Path(edge_keys.__file__).parent
FAMILY = {
    name
    for name, kind in inspect.getmembers(errors, inspect.isclass)
    if issubclass(kind, PackcodecError) and name != "MissingPartError"  # a remedy is all it says
}


def without_remedy(source: str) -> list[int]:
    """The lines on which an error of the family is made without one."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in FAMILY
        and "remedy" not in {each.arg for each in node.keywords}
    ]


def test_no_error_is_made_without_a_remedy() -> None:
    found = {
        f"{path.relative_to(EDGE)}:{line}"
        for path in EDGE.rglob("*.py")
        for line in without_remedy(path.read_text(encoding="utf-8"))
    }
    assert not found


def test_the_check_sees_an_error_without_one() -> None:
    assert without_remedy('x = 1\nraise LogError("is wrong", place="x")') == [2]
    assert without_remedy('raise LogError("is wrong", remedy="right it")') == []


@pytest.fixture
def folder(tmp_path: Path, packcodec: Command) -> Path:
    """A schema, its keys, and a file where a folder is wanted."""
    (tmp_path / "species.csv").write_text(SPECIES)
    (tmp_path / "schema.toml").write_text(TOML)
    (tmp_path / "file").write_text("")
    assert packcodec("keys", "new", tmp_path / "schema.toml", tmp_path / "keys").code == 0
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ("keys", "new", "schema.toml", "file/keys"),
            "file/keys: cannot be made: Not a directory; name a folder where you may write",
        ),
        (
            ("ask", "base.db", "--schema", "schema.toml", "--keys", "none.key"),
            "none.key: cannot be read: No such file or directory; name a key file, or a folder of "
            "them, that packcodec keys new made",
        ),
        (("compile", "none.toml"), "none.toml: the schema is not there; check the name and the"),
        (
            ("summarise", "schema.toml", "-", "--watch", "-"),
            "only one log can come from standard input; name files for the others",
        ),
        (
            ("receive", "base.db", "udp://0.0.0.0:99999", "--schema", "schema.toml"),
            "Port out of range 0-65535; write //host:port, a port of 0 to 65535, and an IPv6 "
            "address in [ ]",
        ),
    ],
)
def test_what_would_be_right_is_in_the_line(
    folder: Path,
    packcodec: Command,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    said: str,
) -> None:
    if "base.db" in arguments:
        pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")
    monkeypatch.chdir(folder)
    ran = packcodec(*arguments)
    assert ran.code == 2
    assert said in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_folder_is_no_schema(tmp_path: Path) -> None:
    with pytest.raises(SchemaError, match="schema cannot be read: Is a directory; name a file"):
        load(tmp_path)


def test_two_keys_of_one_station_cannot_both_be_right(folder: Path) -> None:
    again = folder / "keys" / "two.key"
    again.write_text((folder / "keys" / "reed_bed.key").read_text())
    again.chmod(0o600)
    with pytest.raises(KeysError, match=r"two\.key: station 2 has a key already; keep the one"):
        read_keys(folder / "keys")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"frame": "00"', "in line 1, column 15; give one object a frame"),
        ("[" * 100_000, "go on without an end; leave out what is neither the frame nor its time"),
    ],
)
def test_what_a_gateway_says_that_is_no_json(text: str, said: str) -> None:
    from packcodec.edge.capture import Reader

    with pytest.raises(LogError) as refused:
        Reader("base", "json").read(text, "line 1", None)
    assert said in str(refused.value)


def test_a_store_that_breaks_while_it_is_read_is_not_said_to_be_unwritten(folder: Path) -> None:
    sqlalchemy = pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")
    from packcodec.edge.database import not_kept, not_read

    engine = sqlalchemy.create_engine(f"sqlite:///{folder / 'base.db'}")
    broken = sqlalchemy.exc.OperationalError("SELECT", {}, OSError("the line is cut"))
    assert "base.db: cannot be read: the line is cut; mend" in str(not_read(engine, broken))
    of_a_list = not_kept(engine, broken, "a list", "none was made")
    assert "could not keep a list: the line is cut; make room" in str(of_a_list)
    assert str(of_a_list).endswith("none was made")
