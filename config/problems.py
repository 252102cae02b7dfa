"""What is wrong in an estate folder, said so that it can be found and put right."""

from dataclasses import dataclass

MOST_SHOWN = 100  # in the text of the exception; `problems` holds them all


@dataclass(frozen=True)
class Problem:
    """One mistake: where it is, what was found and what is allowed.

    `line` counts from 1 in a TOML file, `row` is the physical line a spreadsheet row begins on; both None when the
    mistake is about the file as a whole.
    """

    file: str
    line: int | None
    field: str
    found: str
    allowed: str
    row: int | None = None

    def __str__(self) -> str:
        place = self.file
        if self.line is not None:
            place += f", line {self.line}"
        elif self.row is not None:
            place += f", row {self.row}"
        field = f"{self.field}: " if self.field else ""
        return f"{place}: {field}found {self.found}; allowed: {self.allowed}"


class EstateInvalid(Exception):
    """An estate folder that cannot be used; `problems` holds every mistake found, by file and line."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        self.problems = tuple(sorted(problems, key=_place))
        lines = [str(problem) for problem in self.problems[:MOST_SHOWN]]
        if len(self.problems) > MOST_SHOWN:
            lines.append(f"... and {len(self.problems) - MOST_SHOWN} more")
        super().__init__("\n".join(lines))


def _place(problem: Problem) -> tuple[str, int, str]:
    return problem.file, problem.line or problem.row or 0, problem.field
