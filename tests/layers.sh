#!/bin/sh
# A layer includes only itself and the layers below it, and each library's header appears only where it
# belongs. Fails on the first include that looks upwards.
set -eu
cd "$(dirname "$0")/.."
bad=0

# layer FOLDER ALLOWED...: the quoted includes of FOLDER begin with one of ALLOWED.
layer() {
    folder=$1
    shift
    allowed=$(echo "$@" | tr ' ' '|')
    found=$(grep -HnE '^#include "[a-z_]+/' "$folder"/*.c "$folder"/*.h 2>/dev/null |
        grep -vE "#include \"($allowed)/" || true)
    [ -z "$found" ] || { echo "$found looks upwards"; bad=1; }
}

layer core/base base
layer core/logbook logbook base
layer core/link link base
layer core/bench bench link base
layer core/step step bench base
layer core/analysis analysis base
layer core/report report base
layer core/engine engine analysis link step bench logbook base
layer core/verdict verdict report analysis logbook base
layer core/page page engine link base
layer bindings bindings engine analysis step bench link logbook base
layer core/cli cli bindings page verdict report analysis engine step bench link logbook base

# only HEADER FOLDER...: HEADER is included nowhere else.
only() {
    header=$1
    shift
    found=$(grep -rln "#include <$header" core bindings | grep -vE "^($(echo "$@" | tr ' ' '|'))/" || true)
    [ -z "$found" ] || { echo "$found includes $header"; bad=1; }
}

only sqlite3.h core/logbook
only lua bindings
only uv.h core/engine core/link core/page
only microhttpd.h core/page
only csv.h core/cli
only libserialport.h core/link
only gsl core/analysis
only glib core/base
only librsvg core/report
only cairo core/report
only qrencode.h core/report

# A header that is worth reading first can be read in two minutes.
for header in $(find core bindings -name '*.h'); do
    lines=$(wc -l <"$header")
    [ "$lines" -le 200 ] || { echo "$header has $lines lines"; bad=1; }
done
for source in $(find core bindings tests -name '*.c'); do
    lines=$(wc -l <"$source")
    [ "$lines" -le 600 ] || { echo "$source has $lines lines"; bad=1; }
done
exit $bad
