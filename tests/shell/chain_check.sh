#!/usr/bin/env bash
# Redoes a store's hash chain with sqlite3 and sha256sum alone, line by line.
#
#   tests/shell/chain_check.sh reports/records.sqlite [HEAD]
#
# With HEAD, a link printed on a certificate, the chain must also contain it.
# Ends with 0 when every line follows, with 1 at the first that does not.
set -euo pipefail
store=$1 head=${2:-}
previous=$(printf '0%.0s' {1..64})
count=0 seen=${head:+no}
rows="SELECT position, link, text FROM lines ORDER BY position"
while IFS=$'\t' read -r position stored text; do
  count=$((count + 1))
  if [[ $position != "$count" ]]; then
    echo "line $count is missing"
    exit 1
  fi
  link=$(printf '%s\n%s' "$previous" "$text" | sha256sum)
  previous=${link%% *}
  if [[ $previous != "$stored" ]]; then
    echo "line $position does not follow"
    exit 1
  fi
  [[ $previous != "$head" ]] || seen=yes
done < <(sqlite3 -readonly -separator $'\t' "$store" "$rows")
if [[ $count == 0 || $seen == no ]]; then
  echo "$count lines follow, but the head is not among them"
  exit 1
fi
echo "$count lines follow, head $previous"
