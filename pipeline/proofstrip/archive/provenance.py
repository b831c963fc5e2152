"""Where an item comes from, for machines: W3C PROV as PROV-JSON.

References
----------
W3C, PROV-DM: The PROV Data Model (Recommendation, 2013); W3C, The PROV-JSON Serialization (Member Submission, 2013).
"""

from pathlib import Path
from typing import Any

from proofstrip.archive.names import Naming
from proofstrip.archive.runs import FinishedRun

Named = dict[str, dict[str, Any]]

# Names of our own attributes; the address is a name, nothing stands there.
PREFIXES = {"ps": "urn:proofstrip:", "item": "urn:proofstrip:item:"}
MADE_OF_RUN = {"points.parquet": "points.parquet", "strips.gpkg": "strips.csv"}


def describe_provenance(run: FinishedRun, naming: Naming, sources: dict[str, Path], made: list[str]) -> dict[str, Any]:
    """Tell inputs, steps, people and results of a run, and what became of them in the archive.

    Parameters
    ----------
    run : FinishedRun
    naming : Naming
    sources : dict of str to pathlib.Path
        Place in the item -> raw file, the trial file first.
    made : list of str
        Files of the item that were made of the run's.

    Returns
    -------
    dict
        A PROV-JSON document.
    """
    trial_file, places = next(iter(sources)), {path: place for place, path in sources.items()}
    entity: Named = {"item:trial_file": {"prov:location": trial_file, "ps:role": "trial_file"}}
    used: Named = {"_:used0": {"prov:activity": "item:run", "prov:entity": "item:trial_file"}}
    for number, raw in enumerate(run.raw, start=1):
        key = f"item:input{number}"
        entity[key] = {
            "prov:location": places[raw.path],
            "ps:role": raw.role,
            "ps:name": raw.name,
            "ps:sha256": raw.sha256,
        }
        used[f"_:used{number}"] = {"prov:activity": "item:run", "prov:entity": key}
    generated: Named = {}
    derived: Named = {}
    for number, output in enumerate(run.record["outputs"]):
        key = f"item:output{number}"
        entity[key] = {"ps:file": output["file"], "ps:sha256": output["sha256"], "ps:role": "output"}
        generated[f"_:made{number}"] = {"prov:entity": key, "prov:activity": "item:run"}
    for number, file in enumerate(made):
        entity[f"item:layer{number}"] = {"prov:location": file, "ps:role": "layer"}
        generated[f"_:archived{number}"] = {"prov:entity": f"item:layer{number}", "prov:activity": "item:archive"}
        derived[f"_:of{number}"] = {
            "prov:generatedEntity": f"item:layer{number}",
            "prov:usedEntity": _find_output(entity, MADE_OF_RUN.get(file, "points.parquet")),
        }
    steps, informed = _describe_steps(run)
    return {
        "prefix": PREFIXES,
        "entity": entity,
        "activity": {
            "item:run": {"prov:label": "proofstrip run", "ps:version": run.record["version"]},
            **steps,
            "item:archive": {"prov:label": "proofstrip archive", "ps:item": naming.item},
        },
        "agent": _describe_agents(run),
        "used": used,
        "wasGeneratedBy": generated,
        "wasDerivedFrom": derived,
        "wasInformedBy": informed,
        "wasAssociatedWith": _associate(run),
    }


def _find_output(entity: Named, file: str) -> str:
    """Find the key of a file of the run."""
    return next(key for key, value in entity.items() if value.get("ps:file") == file)


def _describe_steps(run: FinishedRun) -> tuple[Named, Named]:
    """Tell each stage in its order: rows, seconds and how many records it flagged for what; what people excluded."""
    steps: Named = {}
    informed: Named = {}
    before = "item:run"
    for place, stage in enumerate(run.record["stages"], start=1):
        key = f"item:step{place}_{stage['stage']}"
        flags = [flag for flag in run.record["flags"] if flag["stage"] == stage["stage"] and flag["records"]]
        steps[key] = {
            "prov:label": stage["stage"],
            "ps:order": place,
            "ps:rows": stage["rows"],
            "ps:seconds": stage["seconds"],
            **{f"ps:flagged_{flag['name']}": flag["records"] for flag in flags},
        }
        informed[f"_:order{place}"] = {"prov:informed": key, "prov:informant": before}
        before = key
    for number, row in enumerate(run.result.get("exclusions", []), start=1):
        key = f"item:exclusion{number}"
        steps[key] = {
            "prov:label": "excluded by hand",
            "ps:reason": row["reason"],
            "ps:date": row["date"],
            "ps:records": row["records"],
            "ps:otherwise_used": row["otherwise_used"],
            **{f"ps:records_of_treatment{n}": f"{name}: {count}" for n, (name, count) in enumerate(_by_treatment(row))},
        }
        informed[f"_:excluded{number}"] = {"prov:informed": "item:run", "prov:informant": key}
    return steps, informed


def _by_treatment(row: dict[str, Any]) -> list[tuple[str, int]]:
    """Give how many records of each treatment an exclusion took."""
    return sorted(row["by_treatment"].items())


def _describe_agents(run: FinishedRun) -> Named:
    """Name the program, who answers for the archive, who prepared the report, and who excluded records."""
    software = {"prov:type": {"$": "prov:SoftwareAgent", "type": "prov:QUALIFIED_NAME"}}
    person = {"prov:type": {"$": "prov:Person", "type": "prov:QUALIFIED_NAME"}}
    agents: Named = {
        "item:proofstrip": {**software, "prov:label": "proofstrip", "ps:version": run.record["version"]},
        "item:contact": {"prov:label": run.terms.contact, "ps:role": "contact"},
    }
    if run.settings.report.prepared_by:
        agents["item:prepared_by"] = {**person, "prov:label": run.settings.report.prepared_by}
    for number, row in enumerate(run.result.get("exclusions", []), start=1):
        agents[f"item:author{number}"] = {**person, "prov:label": row["author"]}
    return agents


def _associate(run: FinishedRun) -> Named:
    """Say who did what."""
    links: Named = {
        "_:by1": {"prov:activity": "item:run", "prov:agent": "item:proofstrip"},
        "_:by2": {"prov:activity": "item:archive", "prov:agent": "item:contact"},
    }
    for number, _ in enumerate(run.result.get("exclusions", []), start=1):
        links[f"_:excluded_by{number}"] = {
            "prov:activity": f"item:exclusion{number}",
            "prov:agent": f"item:author{number}",
        }
    return links
