#!/bin/sh
# The live page in a real browser, before an engine with a simulated channel and two worked by hand: what it
# shows, what is answered there, what strangers cannot do, and that it comes back after the engine did.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/setup.sh"
browser_is_there || { echo "skipped: no node, chromium or the modules of tests/browser (tests/run.sh installs them)"; exit 0; }

cat >bench.lua <<'L'
return bench { title = "One and two", channels = {
  S1 = simulated {}, H1 = by_hand { title = "slot 1 of the charger" }, H2 = by_hand { title = "slot 2 of the charger" } } }
L
cat >asking.lua <<'L'
return protocol {
  title = "Asking",
  results = { charged = "Ah", typed = "Ah" },
  run = function(cell)
    record("charged", cell:charge { current = "0.1 It", stop = { time = "16 h" } }.charge, "Ah")
    record("typed", ask { text = "What does <b>the display</b> say?", kind = "number", unit = "mAh", least = 0, most = 4000 }, "mAh")
    note(ask { text = "Which way did it end?", kind = "choice", choices = { "by itself", "by hand" } })
    note(ask { text = "What else was seen?", kind = "text" })
    ask { text = "Take it out.", kind = "done" }
  end,
}
L
cat >shelf.lua <<'L'
return study { title = "Shelf", run = function(s) s:perform("capacity", s.cells) s:wait("P42D") s:perform("drain", s.cells) end }
L
cp "$top/protocols/capacity.lua" "$top/protocols/drain.lua" .
PERDURE_LOGBOOK=$work/live.perdure
export PERDURE PERDURE_LOGBOOK
"$PERDURE" new --clock x100 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
    --labels T-01,T-02,T-03,T-04,T-05 >/dev/null
"$PERDURE" start capacity.lua --cells T-01 --channel S1 >/dev/null
"$PERDURE" start asking.lua --cells T-02 --channel H1 >/dev/null
"$PERDURE" start asking.lua --cells T-03 --channel H2 >/dev/null
"$PERDURE" start shelf.lua --cells T-04,T-05 >/dev/null
node "$top/tests/browser/live.mjs" bench.lua || fail "the live page"
sound
finish
