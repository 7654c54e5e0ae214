"""A plan view as one JSON document, with the keep-clean plan where one is shown on it."""

from __future__ import annotations

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.quantities.document import document, json_text
from gradehaul.treatment.keep_clean import KeepCleanPlan


def map_json(view: PlanView, film: KeepCleanPlan | None = None) -> str:
    """Return the plan view as JSON text."""
    more = {} if film is None else {"film_plan": document(film)}
    return json_text({**view.to_dict(), **more}, indent=2, ascii_only=False)
