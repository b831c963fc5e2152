"""README.md of an archive: for who finds it in twenty years, without this program."""

README = "README.md"
README_TEXT = """# Archive of strip trials

Replicated on-farm strip trials: what the combine logged, how it was cleaned, and what came out.

    collection.json        STAC collection: names every item with the SHA-256 of its item.json
    trials.parquet         a row an item; `current` is true for the latest version of each trial
    trials/TRIAL/VERSION/  one version of a trial, never changed; a later version names the one before
      item.json            STAC item: what, where, when, licence, contact, and each file with size and SHA-256
      points.parquet       GeoParquet: every raw record, faults as bits of the column flags, longitude and latitude
      strips.gpkg          GeoPackage: strips with their yields, and the outline of all strips
      yield.tif ...        cloud-optimised GeoTIFF: means of usable records
      source/              trial file and raw files, byte for byte, as they stood to each other
      dictionary.csv       every column, its unit and meaning; flags.csv: every bit of the column flags
      provenance.json      inputs, steps, people (W3C PROV-JSON)
      result.json, strips.csv, run.json, report.html, figures/   the answer, and how it was had

A checksum in item.json is a multihash: 1220, then the SHA-256. Nothing here needs the program that wrote it.
"""
