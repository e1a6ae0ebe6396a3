#!/bin/sh
# run.sh - runs every kind of test, and ends with one line that counts them all. Called by make test.
#   unit       Criterion tests of every room under the address and undefined-behaviour sanitizers
#   node       command line, service, page and reference libraries, against the release program
#   sanitized  the corpus of broken files once more, against the sanitizer build
# Use: tests/run.sh UNIT_RUNNER RELEASE_PROGRAM SANITIZED_PROGRAM [suite ...]
set -u
unit=$1 release=$2 sanitized=$3
shift 3
suites=${*:-unit cli api page oracle sanitized}
log=$(mktemp)
trap 'rm -f "$log"' EXIT
passed=0 failed=0 skipped=0

count_unit() {
    # [====] Synthesis: Tested: 12 | Passing: 12 | Failing: 0 | Crashing: 0
    line=$(grep -a 'Synthesis: Tested:' "$log" | tail -n 1 | sed 's/\x1b\[[0-9;]*m//g')
    tested=$(printf '%s' "$line" | sed -n 's/.*Tested: *\([0-9]*\).*/\1/p')
    passing=$(printf '%s' "$line" | sed -n 's/.*Passing: *\([0-9]*\).*/\1/p')
    [ -n "$tested" ] || { echo "tests/run.sh: the unit tests ended without a summary"; failed=$((failed + 1)); return; }
    passed=$((passed + passing))
    failed=$((failed + tested - passing))
}

count_node() {
    for word in pass fail cancelled skipped; do
        n=$(sed -n "s/^[#ℹ]* *$word \([0-9][0-9]*\)\$/\1/p" "$log" | tail -n 1)
        [ -n "$n" ] || { echo "tests/run.sh: $1 ended without a summary"; failed=$((failed + 1)); return; }
        case $word in
        pass) passed=$((passed + n)) ;;
        fail | cancelled) failed=$((failed + n)) ;;
        skipped) skipped=$((skipped + n)) ;;
        esac
    done
}

# Runs a command, showing and keeping its output; a non-zero end without a counted failure counts as one.
run() {
    name=$1 kind=$2
    shift 2
    echo "== $name"
    before=$failed
    { "$@" 2>&1; echo "exit $?" >"$log.status"; } | tee "$log"
    "count_$kind" "$name"
    [ "$(cat "$log.status")" = "exit 0" ] || [ "$failed" -gt "$before" ] || failed=$((failed + 1))
    rm -f "$log.status"
}

for suite in $suites; do
    case $suite in
    unit) run unit unit env LSAN_OPTIONS=suppressions=tests/leaks.txt "$unit" --timeout 300 ;;
    sanitized)
        run "sanitized: broken files" node env FETTLE="$sanitized" FETTLE_SANITIZED=1 \
            node --test --test-reporter=tap tests/cli/badinput.test.mjs
        ;;
    *)
        # the tests of the service share the machine with its workers: one file at a time
        [ "$suite" = api ] && at_once=1 || at_once=2
        run "$suite" node env FETTLE="$release" \
            node --test --test-reporter=tap --test-concurrency=$at_once tests/"$suite"/*.test.mjs
        ;;
    esac
done
echo
echo "$passed passed, $failed failed, $skipped skipped"
[ "$failed" -eq 0 ]
