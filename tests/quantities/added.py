"""Say, as JSON, where a quantity of this name stands: in the table, on terminal and page, explained and compared."""

import json
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from click.testing import CliRunner

from tests import descriptions
from tests.drawn import drawn
from tests.explanation import explained
from xrdorder.cli import main
from xrdorder.comparison import verdict
from xrdorder.comparison.variants import QUANTITIES, compare_wires, wires_of
from xrdorder.estimates.relation_columns import with_relations
from xrdorder.explanation.explanation import explain, quantities_table
from xrdorder.figures import trend_figure
from xrdorder.results.collate import RESULTS_CSV, collate, write_results
from xrdorder.results.study_table import study_table
from xrdorder.treatments import Schedule, Step


def places(name: str, folder: Path) -> dict[str, object]:
    """What each output says of the quantity."""
    temperatures = {"A-650-a": 650.0, "A-650-b": 650.0, "A-700": 700.0, "A-725": 725.0}
    lot = descriptions.lot("A", dopant_at_percent={"Ta": 2.4})
    study = descriptions.study(
        folder,
        [
            descriptions.sample(sample, lot, f"{sample}.xy", treatment=Schedule((Step(kelvin, 100, 50),)))
            for sample, kelvin in temperatures.items()
        ],
        ("nb3sn", "nb"),
        title="A study",
    )
    more = {sample: {"a_nm": 0.52879 + 1e-6 * (kelvin - 650.0)} for sample, kelvin in temperatures.items()}
    samples = [explained.sample(sample, more=more[sample]) for sample in temperatures]
    around = {"Tc_K": [17.0] * len(samples), "tin_fraction": [0.24] * len(samples)}
    results = with_relations(drawn(collate(study, samples, study.phases), around))
    write_results(results, folder)
    table = study_table(results)
    terminal = CliRunner().invoke(main, ["explain", str(explained.folder(folder / "kept")), "A-650-100", name])
    compared = compare_wires(wires_of(results, name))
    return {
        "csv": (folder / RESULTS_CSV).read_text(encoding="utf-8").splitlines()[0].split(","),
        "table": [[heading.label for heading in table.head], *table.texts()],
        "page": [row[:3] for row in quantities_table(explain(samples[0])).texts()],
        "explain": terminal.output,
        "compare": list(QUANTITIES),
        "verdict": [verdict(one) for one in compared.comparison.differences()],
        "figure": [axes.get_ylabel() for axes in trend_figure(results).axes],
    }


if __name__ == "__main__":
    with TemporaryDirectory() as somewhere:
        print(json.dumps(places(sys.argv[1], Path(somewhere))))
