"""The panel of imports: where logs are dropped or chosen, what becomes of them, what has to be answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.adding.jobs import ASKS, OPEN, Job, Refusal, State
from dashboard.texts import imports as said
from ridelog.report.sentences import shown


def panel() -> html.Aside:
    """The panel as it stands on every page, closed. `assets/add.js` opens it and sends files."""
    return html.Aside(
        [
            html.Div(
                [
                    html.H2(texts.ADD, id="h-add"),
                    html.Button(texts.ADD_CLOSE, id=ids.ADD_CLOSE, type="button", className="quiet"),
                ],
                className="head",
            ),
            html.P(texts.ADD_HINT),
            html.Div(
                [
                    html.Button(texts.ADD_CHOOSE, id=ids.ADD_CHOOSE, type="button"),
                    html.Button(texts.ADD_CHOOSE_FOLDER, id=ids.ADD_FOLDER, type="button", className="quiet"),
                ],
                className="tools",
            ),
            html.Div(
                [
                    # filled and emptied by add.js alone
                    html.Div(id=ids.ADD_CHOSEN, className="chosen"),
                    html.Label(texts.ADD_BIKE, htmlFor=ids.ADD_BIKE),
                    html.Select(id=ids.ADD_BIKE),
                    html.Label(texts.ADD_AMBIENT, htmlFor=ids.ADD_AMBIENT),
                    dcc.Input(id=ids.ADD_AMBIENT, type="text", inputMode="decimal", autoComplete="off", debounce=True),
                    html.Label(said.ZONE_FIELD, htmlFor=ids.ADD_ZONE),
                    dcc.Input(id=ids.ADD_ZONE, type="text", autoComplete="off", debounce=True),
                    html.Label(
                        [html.Span(id=ids.ADD_TOGETHER, role="checkbox", tabIndex="0", **{"aria-checked": "false"}),
                         texts.ADD_TOGETHER],
                        id=ids.ADD_TOGETHER_ROW, className="check",
                    ),
                    html.Div(
                        [
                            html.Button(texts.ADD_SEND, id=ids.ADD_SEND, type="button", className="main"),
                            html.Button(texts.ADD_CLEAR, id=ids.ADD_CLEAR, type="button", className="quiet"),
                        ],
                        className="tools",
                    ),
                ],
                id=ids.ADD_FORM,
                className="form",
                hidden=True,
            ),
            html.P(id=ids.ADD_SAID, role="status", className="said"),
            html.Div(id=ids.ADD_JOBS, className="jobs"),
            html.P(texts.ADD_LOCAL, className="small"),
        ],
        id=ids.ADD_PANEL,
        className="adding",
        hidden=True,
        **{"aria-labelledby": "h-add"},
    )  # fmt: skip


def bikes(names: Sequence[str]) -> list[html.Option]:
    """The choices of the bike."""
    return [html.Option(texts.ADD_NO_BIKE, value=""), *(html.Option(name, value=name) for name in names)]


def job_list(found: Sequence[Job], progress: dict[str, str], counts: Mapping[State, int]) -> list[object]:
    """What became of each import, latest first. `progress`: what a worker is doing, by job; `counts`: all there are, by
    state."""
    if not found:
        return []
    total = sum(counts.values())
    told = html.P(said.counted(total, counts), className="small") if total > 1 else None
    return [html.H3(texts.ADD_LIST), told, *(_job(job, progress.get(job.id, "")) for job in found)]


def _job(job: Job, doing: str) -> html.Div:
    return card(job, doing, acts=True)


def card(job: Job, doing: str = "", *, acts: bool = False) -> html.Div:
    """One import: its state, what was refused, asked or stored. With `acts` its buttons, and links to its page."""
    inside: list[object] = [html.P([html.B(job.title), " ", html.Span(texts.JOB_STATES[job.state], className="state")])]
    if job.state == "working":
        inside.append(html.P(doing or texts.JOB_STATES["working"], className="small"))
        inside.append(html.Div(className="going", role="progressbar", **{"aria-label": texts.JOB_STATES["working"]}))
    if job.refusals:
        inside += [_refusal(one) for one in job.refusals]
    elif job.reason:
        inside += [html.P(line, className="reason") for line in job.reason.splitlines()]
    if job.asked is not None:
        inside.append(_question(job))
    for one in job.added:
        inside.append(
            html.Div(
                [
                    html.P(shown(one.answer), className="told") if one.answer else None,
                    html.P(texts.JOB_THERE_BEFORE, className="small") if one.status == "already_stored" else None,
                    dcc.Link(texts.JOB_OPEN, href=config.ride_path(one.ride)),
                    html.Details([html.Summary(texts.JOB_WAY_OUT), html.Ul([html.Li(note) for note in one.notes])])
                    if one.notes
                    else None,
                ]
            )
        )
    if acts:
        if job.state == "joining":
            inside.append(html.P(dcc.Link(said.JOIN_LINK, href=config.import_path(job.id))))
        elif job.state == "refused" and (job.told.together or any(one.asks for one in job.refusals)):
            inside.append(html.P(dcc.Link(said.MORE_LINK, href=config.import_path(job.id))))
        inside.append(html.Div([_button(job, act, words) for act, words in _acts(job)], className="tools"))
    return html.Div(inside, className=f"job is-{job.state}")


def _refusal(one: Refusal) -> html.Div:
    """The importer's facts, what to do about them, and on request what each reader said."""
    found = f"{one.where}: {one.found}" if one.where else one.found
    inside: list[object] = [html.P(found)]
    for name, text in ((said.EXPECTED, one.expected), (said.TO_DO, one.to_do)):
        if text:
            inside.append(html.P([html.B(f"{name}: "), text]))
    if one.missed:
        inside.append(html.Details([html.Summary(said.MISSED), html.Ul([html.Li(each) for each in one.missed])]))
    return html.Div(inside, className="reason")


def _question(job: Job) -> html.Div:
    asked = job.asked
    if asked is None:
        return html.Div()
    return html.Div(
        [
            html.P(texts.job_question(asked.column), id=f"q-{job.id}"),
            html.P(texts.job_holds(asked.seen), className="small"),
            html.Div(
                [
                    html.Button(words, id=ids.answer(job.id, number), n_clicks=0, type="button")
                    for number, (words, _) in enumerate(asked.options)
                ],
                className="answers",
                role="group",
                **{"aria-labelledby": f"q-{job.id}"},
            ),
        ],
        className="question",
    )


def _acts(job: Job) -> list[tuple[str, str]]:
    acts = []
    if job.state in {"stopped", "refused", "cancelled"} and all(file.received for file in job.files):
        acts.append(("retry", texts.JOB_RETRY))
    if job.state in OPEN or job.state in ASKS:
        acts.append(("call_off", texts.JOB_CALL_OFF))
    else:
        acts.append(("dismiss", texts.JOB_DISMISS))
    return acts


def _button(job: Job, act: str, words: str) -> html.Button:
    label = f"{words}: {job.title}"
    return html.Button(
        words, id=ids.act(job.id, act), n_clicks=0, type="button", className="quiet", **{"aria-label": label}
    )
