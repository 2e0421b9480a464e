"""What a form without script was sent with."""

from __future__ import annotations

from urllib.parse import parse_qs

from fastapi import Request
from starlette.exceptions import HTTPException


async def fields_of(request: Request) -> dict[str, str]:
    """What a form of ours was sent with; a name given twice counts once."""
    body = (await request.body()).decode("utf-8", "replace")
    try:
        return {name: values[0] for name, values in parse_qs(body, max_num_fields=10).items()}
    except ValueError:
        raise HTTPException(422, "form: got more than 10 fields, expected a form of ours") from None
