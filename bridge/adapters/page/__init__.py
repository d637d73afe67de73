"""The page's server side: a small JSON API, an event stream, metrics and files, over HTTP.

Loaded only where the settings have a `[page]` table; nothing else of the bridge imports starlette or uvicorn.
"""
