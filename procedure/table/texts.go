package table

import "proveout/procedure"

// texts are the sentences of refusals and states by key, {0} and {1} filled in. They
// are those of the runner, word for word: the traces compare them.
var texts = map[string]string{
	"mode.0": procedure.Running.Text(), "mode.1": procedure.Held.Text(), "mode.2": procedure.HeldKeepPower.Text(),
	"mode.3": procedure.Stopping.Text(), "mode.4": procedure.HandedOver.Text(), "mode.5": procedure.Finished.Text(),
	"phase.0": procedure.Idle.Text(), "phase.1": procedure.Doing.Text(), "phase.2": procedure.Waiting.Text(),
	"phase.3": procedure.Waited.Text(), "phase.4": procedure.Done.Text(), "phase.5": procedure.Owed.Text(),
	"kind.0": procedure.KindText["power_loss"], "kind.1": procedure.KindText["low_supply"], "kind.2": procedure.KindText["operator_leaves"],
	"kind.3": procedure.KindText["device_dies"], "kind.4": procedure.KindText["injury_or_fire"], "kind.5": procedure.KindText["not_as_expected"], "kind.6": procedure.KindText["overdue"],

	"not_now": "Not now: {0}.", "cannot": "That cannot happen now.", "never": "Never: {0}.",
	"not_next":  "This is not the next entry: it has number {0}, the record is at {1}. Look at the present state first.",
	"safe_only": `Step "{0}" makes safe: it comes after an interruption or a stop.`, "not_asked": `Step "{0}" is not asked for now; to leave the vehicle, stop first.`,
	"variant": `Step "{0}" does not belong to this variant: only if {1}.`, "is_done": `Step "{0}" is done.`, "under_way": `Step "{0}" is under way.`, "so_already": "It is so already.",
	"not_needed": `Step "{0}" is not needed as things are: it is for when {1}.`, "keep_power": "Keep power and session: try again before any key-off.",
	"look_first": "First look: is everything at rest?", "moving": "A movement is under way: no second command.", "resting": "The rest after the last movement is not over.",
	"end_first": `First end step "{0}".`, "before_it": `Before it comes step "{0}": {1}`, "more_before": "More steps before it: {0}.",
	"blind": "The {0} at the {1} is not watched. {2}", "beyond": "The {0} at the {1} is beyond its limits.", "must_watch": "The {0} must be watched: a typed reading is not enough here.",
	"start_level": "The {0} at the {1} must be at least {2} to begin this step.", "needed": "Needed is: {0}.", "relies": `Step "{0}" is under way and relies on what this one changes.`,
	"unknown_now": " (this is not known now)", "now": " (now: {0})", "not": "not: {0}", "either": "either {0}", "or": ", or ", "and": " and ",
	"done_already": `Step "{0}" is done already.`, "not_begun": `Step "{0}" has not begun; it was put back, or someone else has ended it.`,
	"twice": `Step "{0}" was confirmed as {1} already; the same means twice does not count.`, "ended_first": `Step "{0}": first say that the movement has ended.`,
	"number": `Step "{0}": a number is needed for {1}.`, "limit": `Step "{0}": not within its limit: {1}.`, "wait": `Step "{0}": its wait is not over.`,
	"shown": `Step "{0}" must be shown in {1} first.`, "no_wait": `Step "{0}" has no wait: confirm it.`, "elsewhere": `Step "{0}" is not where that fits: it is {1}.`,
	"ways.1": "one way", "ways.2": "two ways", "ways.n": "{0} ways",
	"make_safe": "First make safe: {0}", "before_that": "Before that, needed is: {0}.", "not_left": "It may not be left yet: needed is {0}.",
	"not_done": `Step "{0}" is not done.`, "not_rested": "The last movement has not come to rest.",
	"to_whom": "Say to whom it is handed over, or where it stays.", "changed": `Step "{0}" has changed since this screen saw it: it saw attempt {1}, now it is attempt {2}. Look again before confirming.`,
	"feed_counts":  "A feed is watching the {0}: it counts, not a typed reading.",
	"rest_seconds": "Give the maker's rest in seconds.", "rest_none": `Step "{0}" has no rest.`, "rest_cite": "A rest shorter than {0} s needs the maker's text it comes from.",
	"rest_floor": `Step "{0}" rests at least {1} s whatever is cited: nothing shorter was found for it.`, "rest_waits": `Step "{0}" is in its wait: it cannot be changed now.`,
	"write": "Write it down: {0} in {1}, and beside it {2}.", "figure_zero": "{0}: give the value and {1}, both above zero.", "figure_zero_most": "{0}: give the value without its sign and {1}, above zero.",
	"figure_most": "{0}: a limit of {1} is not taken: never above {2}, whatever it comes from.", "figure_under": "{0}: {1} is under the limit of {2} ({3}).",
	"figure_over": "{0}: {1} is over the limit of {2} ({3}).", "figure_off": "{0}: {1} is more than {4} % off {2} ({3}).", "figure_say": " If it is so, say that it is not as expected.", "figure_unknown": `"{0}" is no figure of this confirmation.`,
}
