"""The pages: one hand, two minutes, a dirty phone. Served by the laptop in the bay, to itself and to phones
beside it.

No logic of its own: `work` runs the use cases of `jobs` in a process beside the server, `views` turns their
answers into
what a page shows, `routes` and `api` hand them out, `guard` decides who may ask, `live` tells every open
page of a job.
"""

from amptrail.web.app import create_app

__all__ = ["create_app"]
