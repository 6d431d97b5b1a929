"""The standard's spelling for people, snake case for code, one register for both."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Symbol:
    """How one quantity is written in code, in plain text, on a page and as a column head."""

    name: str
    text: str
    html: str
    meaning: str
    unit: str = "dB"

    @property
    def column(self) -> str:
        """Column head in files, such as ``LAeq_dB``."""
        return f"{self.text.replace(',', '_')}_{self.unit}"


def _exceeded(percent: int) -> Symbol:
    return Symbol(
        f"la{percent}", f"LA{percent}", f"L<sub>A{percent}</sub>",
        f"A-weighted F level exceeded {percent} % of the time",
    )  # fmt: skip


SYMBOLS = {
    symbol.name: symbol
    for symbol in (
        Symbol("laeq", "LAeq", "L<sub>Aeq</sub>", "equivalent continuous A-weighted level"),
        Symbol("lceq", "LCeq", "L<sub>Ceq</sub>", "equivalent continuous C-weighted level"),
        Symbol("lzeq", "LZeq", "L<sub>Zeq</sub>", "equivalent continuous unweighted level"),
        Symbol("laf", "LAF", "L<sub>AF</sub>", "A-weighted level, time weighting F"),
        Symbol("lafmax", "LAFmax", "L<sub>AFmax</sub>", "highest A-weighted level, time weighting F"),
        Symbol("lafmin", "LAFmin", "L<sub>AFmin</sub>", "lowest A-weighted level, time weighting F"),
        Symbol("lasmax", "LASmax", "L<sub>ASmax</sub>", "highest A-weighted level, time weighting S"),
        Symbol("lcpeak", "LCpeak", "L<sub>Cpeak</sub>", "highest C-weighted peak level"),
        Symbol("lae", "LAE", "L<sub>AE</sub>", "A-weighted sound exposure level, re 1 s"),
        *(_exceeded(percent) for percent in (1, 5, 10, 50, 90, 95, 99)),
    )
}
"""Every symbol that this package writes, by its name in code."""
