"""Every text of the dashboard's own frame and forms, a file a page, so that they can be read at once, and translated.

Pages take them from here. Those of the page of one import, `imports`, are taken by that name."""

from __future__ import annotations

from dashboard.texts.adding import *  # noqa: F403
from dashboard.texts.cases import *  # noqa: F403
from dashboard.texts.compare import *  # noqa: F403
from dashboard.texts.places import *  # noqa: F403
from dashboard.texts.profiles import *  # noqa: F403
from dashboard.texts.review import *  # noqa: F403
from dashboard.texts.ride import *  # noqa: F403
from dashboard.texts.ride_notes import *  # noqa: F403
from dashboard.texts.rides import *  # noqa: F403
from dashboard.texts.settings import *  # noqa: F403
