"""Session → plan text in the long forms, one key a line: what the fields write, and no more."""

from __future__ import annotations

import io

from ruamel.yaml import YAML

from cuetrack.plan.model import Session


def plan_text(session: Session) -> str:
    """`session` as plan text: what was set, in the long forms; reading it gives an equal session."""
    yaml = YAML()
    yaml.default_flow_style = False
    yaml.width = 100
    yaml.allow_unicode = True
    stream = io.StringIO()
    yaml.dump(session.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True), stream)
    return stream.getvalue()
