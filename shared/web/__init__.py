"""The one design system of Loadstock: what a page author may use.

A page
------
`{% extends "web/base.html" %}{% load web %}`, then fill the blocks `title`, `heading`, `lead` (the answer,
in words), `actions` (buttons), `content`; optional: `margin` (a note beside the heading), `crumbs`,
`sheet`, `head`.
The context processor gives `team`, `teams` (name, slug or url), `role`, `nav` (label, url, key), `nav_key`,
`demo_data`, `late_jobs`.
Content is sections: `<section class="entry"><h2>Heading</h2> ... </section>`; on a wide screen the heading
stands in the margin. `class="entry wide"` uses the whole width, with the heading above.
No `style=`, no inline script, no `on...=`: the Content-Security-Policy forbids them.

Tags and filters (`{% load web %}`)
-----------------------------------
{% severity flag.severity %}    shape and word; also `note="since Monday"`; `ok` prints "In order"
{% state "ok" "Ready" %}        a word of the page's own with the shape of a severity; third argument: a note
{% countdown moment now %}      time left, goes on counting with web/countdown.js in block `head`; `past="now"`
{{ v|severity_word }}           the word alone, for running text
{{ v|fig:2 }}, {{ v|fig:"0-2" }}  aligned figure for `<td class="num">`; None prints a dash
{% qty value 'mohm' %}          figure with its unit; third argument: decimals. Units: figures.py
{% icon 'battery' %}            icon; `label='Print'` when it stands alone; `size=24`. Names: icons.py
{% working flag.working %}      steps [{label, formula, numbers, result, unit}], limit, conclusion, source,
                                status; numbers: {"I": (20.0, "A")}, {"I": 20.0}, pairs, triples or text;
                                limit: {label, value, unit} or a number or text. Dicts and dataclasses alike
{% sparkline values %}          small trend in a table cell; `limit=`, `label=` (says it in words)
{% margin_bar used limit %}     one bar in a table cell; `label=`
{% margin_bars chart %}         shared.web.charts.MarginBars: a list of bars with words
{% trend_chart chart %}         shared.web.charts.TrendChart: readings over days
{% control_chart chart %}       shared.web.charts.ControlChart: the newest reading against its own history
{% fleet_strip chart %}         shared.web.charts.FleetStrip: many batteries on one scale, each by its own baseline
{% ledger_chart chart %}        shared.web.charts.LedgerChart: stock balance over days
{% timeline chart %}            shared.web.charts.Timeline: lanes over hours or days
{% rotation_chart chart %}      shared.web.charts.RotationChart: batteries over the hours of each day of an event
{% feed_tree chart %}           shared.web.charts.FeedTreeChart: battery, boards and branches with their figures
{% voltage_trace trace %}       shared.web.charts.VoltageTrace: a voltage over seconds, levels, a band of runs
{% label_sheet chart %}          shared.web.charts.LabelSheet: the first sheet of labels as it is printed
{% duty_chart chart %}          shared.web.charts.DutyChart: the phases of a duty profile as steps
{% page_url n %}                query string of another page, other parameters kept

Partials (`{% include "web/..." with ... %}`)
---------------------------------------------
_form.html        form, submit, cancel_url; inside <form method="post" data-once>{% csrf_token %}
                  A unit hint: widget attrs data-unit="mm2", or `unit` on the form field
_field.html       one `field`
_empty.html       what, next, url, label, icon_name
_caution.html     kind: battery, charging, crimp, fault
_pagination.html  page_obj
_history.html     entries [{when, who, what, detail}]
_tabs.html        tabs [(label, url, key, count)], tab_key, tabs_label
_progress.html    job {state, label, done, total, message, finished}, poll_url
_table.html       table {caption, columns [{label, kind, decimals}], rows}; kind: text, num, code, severity,
                  head
_camera.html      the scan page only: reads a label by camera or from a photo; asks for `team` and the page's view
_phone.html       in base.html: the scripts that keep entries and pages in a phone
_confirm.html     a whole page that asks once more: question, consequence, confirm_label, cancel_url,
                  danger, form

Classes
-------
Buttons: `button`, `button--main` (one a page), `button--danger`, `button--text`, `button--big`.
Tables: wrap in `<div class="scroll" tabindex="0" role="region" aria-label="...">`; `num` on figure cells
and heads, `dense`, `roomy`, `stack` (one block a row on a phone; give each td `data-label`), `scroll--pin`,
`td.is-over`; with `stack stack--brief` a row takes two columns on a phone and leaves out what is `wide-only`.
Lists: `findings` (li > severity, .findings__what, .findings__why, .findings__where), `tally` (li > a >
.label, .tally__fig), `facts` (dl > div > dt, dd), `choices` (big taps; li > a > icon, span, span.end),
`history`.
Text: `label` (small caption), `soft`, `small`, `tag` (a scannable code), `big-fig`, `unit`, `fig`,
`nowrap`.
Layout: `columns`, `split`, `row`, `stack-gap`, `details.fold`, `filters`, `scan`, `pick`, `no-print`,
`only-print`, `print-page` (starts a new sheet of paper).

Behaviours (`data-` attributes, static/web/loadstock.js)
--------------------------------------------------------
form[data-once]              a second click does nothing while the first is under way
[data-confirm="Question?"]   on a form or a submit button: asks first; data-confirm-yes names the button
input[data-scan]             takes the focus on load and after each answer; a scanner types here
input[data-stepper="0.1"]    plus and minus buttons; input[data-keypad] a number pad below
input[data-filter="id"]      hides rows of that table without the words; data-filter-count="id" says how
                             many stay
figure[data-zoom]            adds buttons that make the drawing in its `.feed` larger and smaller
[data-print]                 a button that prints the page

Entries that wait in the phone (static/web/outbox.js, on every page of a team)
------------------------------------------------------------------------------
form[data-outbox="<API url>"]  on submit the entry is kept in the phone with a key of its own and the time of the
                             tap, then sent to the API in order, once each. A form of one intention; it also needs
                             `method="post"`, an `action` and a token, and works as a plain form without script.
                             `{name}` in the address is filled from the field of that name, which then stays out
                             of the body. The body is JSON of the other named fields: empty ones are left out, a
                             check box is true or false, a `multiple` field is a list
data-outbox-method="PATCH"   else POST
data-outbox-time="started_at"  the field of the body that gets the time of the tap, unless the person filled it in
data-outbox-title="Swap: {battery} into Q12"  what the person reads in the list; `{name}` as above (of a select:
                             the words of its option)
data-outbox-then="reload"    once all is sent, load the page anew (unless something is half typed)
data-outbox-name="match"     on a field: its name in the body, where the form's own differs
data-outbox-skip             on a field: not sent
[data-outbox-list]           where the list stands; else below the notices
Events, all on document.body: `outbox:kept`, `outbox:sent` (detail: entry, answer), `outbox:refused` (detail: entry,
sentence), `outbox:change` (detail: waiting, look). htmx: hx-trigger="outbox:sent from:body".
An entry that comes before the answer to an earlier one cannot know ids the server has yet to make: let the API take
what the phone knows (the robot, the battery, a code), not the id of the outing.
[data-keep-offline]          anywhere in a page: over https the page and its files survive a reload without network
[data-scan-into="field-id"]  a `button`, hidden until the script runs, beside a code field: goes to the scan page and
                             comes back with the code in that field, everything else as it was typed; in a select it
                             picks the option whose `data-code` is the code
"""
