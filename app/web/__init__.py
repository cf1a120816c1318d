"""The pages. Server-rendered; each page module is a noun, with its templates in a folder of the same name.

access    who may request what, by hand; what is not in the table is refused
auth      the cookie, the viewer, the guard in front of every route
security  headers and cross-site refusal, as plain ASGI
render    templates with a documented page class each
forms     what people type, checked, with their words kept when something is wrong
errors    every error as a page or JSON that says what happened, what is safe, what to do
"""
