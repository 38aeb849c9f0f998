"""The dataset as data frames, for notebooks: Arrow tables, which other libraries take as they are.

pyarrow and pandas are installed with `pip install 'packcodec[dataset]'`.
"""

from typing import TYPE_CHECKING

from packcodec.dataset.model import Dataset
from packcodec.dataset.tables import Kind, Table, tables
from packcodec.errors import MissingPartError

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

INSTALL = "pip install 'packcodec[dataset]'"


def to_arrow(data: Dataset) -> "dict[str, pa.Table]":
    """Every table by name, with types, and its columns' meanings as field metadata.

    Raises MissingPartError where pyarrow is not installed.
    """
    return {table.name: arrow_table(table) for table in tables(data)}


def to_pandas(data: Dataset) -> "dict[str, pd.DataFrame]":
    """Every table by name; whole numbers and booleans keep their kind beside empty cells.

    Raises MissingPartError where pyarrow or pandas is not installed.
    """
    try:
        import pandas as pd
    except ImportError:
        raise MissingPartError("data frames need pandas", remedy=INSTALL) from None
    kinds = {"integer": "Int64", "boolean": "boolean"}
    frames = {}
    for table in tables(data):
        frame = arrow_table(table).to_pandas(types_mapper=None)
        wanted = {each.name: kinds[each.kind] for each in table.columns if each.kind in kinds}
        frames[table.name] = pd.DataFrame(frame.astype(wanted))
    return frames


def arrow_table(table: Table) -> "pa.Table":
    """One table in Arrow, times in UTC to the millisecond."""
    try:
        import pyarrow as pa
    except ImportError:
        raise MissingPartError("Arrow tables need pyarrow", remedy=INSTALL) from None
    types: dict[Kind, pa.DataType] = {
        "string": pa.string(),
        "integer": pa.int64(),
        "number": pa.float64(),
        "boolean": pa.bool_(),
        "datetime": pa.timestamp("ms", tz="UTC"),
    }
    fields = [
        pa.field(each.name, types[each.kind], not each.required, {"note": each.note})
        for each in table.columns
    ]
    columns = [
        pa.array([row[n] for row in table.rows], type=types[each.kind])
        for n, each in enumerate(table.columns)
    ]
    return pa.table(columns, schema=pa.schema(fields, metadata={"note": table.note}))
