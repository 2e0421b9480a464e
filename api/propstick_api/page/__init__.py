"""The page a person looks at: HTML made here from what the watch wrote, and the forms that answer it."""

from fastapi import APIRouter

from propstick_api.page import answers, forms, night, season, sight, static

router = APIRouter()
for module in (sight, answers, night, season, forms, static):
    router.include_router(module.router)

__all__ = ["router"]
