"""The casebook: the web application in which a practitioner does the whole of a case. Extra `web`.

Above the core and above nothing else of the package but the report: pages read the database, ask one service or one
query, and render. What is computed is computed by the core.
"""
