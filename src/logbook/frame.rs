//! Rows as polars' frames and as the bytes of a Parquet file, and back. Knows of no folder and no judgement.

use polars::prelude::*;

use super::row::{Cell, Row};
use super::schema::{self, Holds, SCHEMA, SCHEMA_KEY, VERSION_KEY};

/// The columns of a file.
pub(super) fn file_schema() -> Schema {
    let columns = schema::columns();
    columns
        .into_iter()
        .map(|(name, holds)| Field::new(name.into(), dtype(holds)))
        .collect()
}

/// The columns that stand in the folders' names.
pub(super) fn folder_schema() -> Schema {
    let fields = schema::FOLDERS.map(|name| Field::new(name.into(), DataType::String));
    fields.into_iter().collect()
}

fn dtype(holds: Holds) -> DataType {
    match holds {
        Holds::Text => DataType::String,
        Holds::Texts => DataType::List(Box::new(DataType::String)),
        Holds::Count => DataType::Int64,
        Holds::Number | Holds::Quantity => DataType::Float64,
        Holds::Flag => DataType::Boolean,
        Holds::Time => DataType::Datetime(TimeUnit::Microseconds, Some(TimeZone::UTC)),
    }
}

/// A Parquet file of one row: the same bytes for the same row.
pub(super) fn parquet(row: &Row) -> PolarsResult<Vec<u8>> {
    let columns = row.cells().iter().map(|(name, cell)| column(name, cell));
    let mut frame = DataFrame::new(1, columns.collect())?;
    let metadata = KeyValueMetadata::from_static(vec![
        (SCHEMA_KEY.into(), SCHEMA.into()),
        (VERSION_KEY.into(), env!("CARGO_PKG_VERSION").into()),
    ]);
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes)
        // Packed, one row is no smaller, and each of its columns takes longer to unpack than to read.
        .with_compression(ParquetCompression::Uncompressed)
        // Of one row, the least and the greatest are the row again.
        .with_statistics(StatisticsOptions::empty())
        .set_parallel(false)
        .with_key_value_metadata(Some(metadata))
        .finish(&mut frame)?;
    Ok(bytes)
}

fn column(name: &str, cell: &Cell) -> Column {
    let name: PlSmallStr = name.into();
    match cell {
        Cell::Text(value) => Column::new(name, [value.as_deref()]),
        Cell::Count(value) => Column::new(name, [*value]),
        Cell::Number(value) => Column::new(name, [*value]),
        Cell::Flag(value) => Column::new(name, [*value]),
        Cell::Time(value) => {
            let micros = Int64Chunked::new(name, [value.map(|t| t.as_microsecond())]);
            let times = micros.into_datetime(TimeUnit::Microseconds, Some(TimeZone::UTC));
            times.into_series().into_column()
        }
        Cell::Texts(value) => {
            let mut builder = ListStringChunkedBuilder::new(name, 1, 8);
            match value {
                Some(texts) => builder.append_values_iter(texts.iter().map(String::as_str)),
                None => builder.append_null(),
            }
            builder.finish().into_series().into_column()
        }
    }
}

/// The rows of a frame that has all columns of the schema and the folders'.
pub(super) fn rows(frame: &DataFrame) -> PolarsResult<Vec<Row>> {
    let text = |name: &str, i: usize| -> PolarsResult<String> {
        Ok(frame
            .column(name)?
            .str()?
            .get(i)
            .unwrap_or_default()
            .to_owned())
    };
    let columns = schema::columns();
    (0..frame.height())
        .map(|i| {
            let cells = columns
                .iter()
                .map(|(name, holds)| Ok((name.clone(), cell(frame.column(name)?, *holds, i)?)))
                .collect::<PolarsResult<Vec<_>>>()?;
            let [aircraft, surface] = schema::FOLDERS;
            Ok(Row::new(text(aircraft, i)?, text(surface, i)?, cells))
        })
        .collect()
}

fn cell(column: &Column, holds: Holds, i: usize) -> PolarsResult<Cell> {
    Ok(match holds {
        Holds::Text => Cell::Text(column.str()?.get(i).map(str::to_owned)),
        Holds::Count => Cell::Count(column.i64()?.get(i)),
        Holds::Number | Holds::Quantity => Cell::Number(column.f64()?.get(i)),
        Holds::Flag => Cell::Flag(column.bool()?.get(i)),
        Holds::Time => {
            let micros = column.datetime()?.physical().get(i);
            Cell::Time(micros.and_then(|t| jiff::Timestamp::from_microsecond(t).ok()))
        }
        Holds::Texts => match column.list()?.get_as_series(i) {
            None => Cell::Texts(None),
            Some(texts) => {
                let texts = texts.str()?.iter().flatten();
                Cell::Texts(Some(texts.map(str::to_owned).collect()))
            }
        },
    })
}
