# Completion for firnwatt in bash.
_firnwatt() {
  local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD - 1]} command=${COMP_WORDS[1]:-}
  local commands="run check expect listen replay record try status note acknowledge shelve review export"
  if [ "$COMP_CWORD" = 1 ]; then
    mapfile -t COMPREPLY < <(compgen -W "$commands --help --version" -- "$cur")
    return
  fi
  case $prev in
    --format)
      if [ "$command" = expect ]; then mapfile -t COMPREPLY < <(compgen -W "table csv" -- "$cur")
      else mapfile -t COMPREPLY < <(compgen -W "text html json" -- "$cur"); fi
      return ;;
    --from | --to | --date | --step | --for | --broker) return ;;
  esac
  case $command in
    export) [ "$COMP_CWORD" = 3 ] && { mapfile -t COMPREPLY < <(compgen -W "verdicts alarms commands bank advice energy" -- "$cur"); return; } ;;
    try) [ "$COMP_CWORD" = 3 ] && { mapfile -t COMPREPLY < <(compgen -W "notice charger heater" -- "$cur"); return; } ;;
  esac
  if [[ $cur == -* ]]; then
    local options=--help
    case $command in
      run) options+=" --record" ;;
      expect) options+=" --date --step --air --format" ;;
      try) options+=" --yes" ;;
      acknowledge) options+=" --by" ;;
      listen) options+=" --broker --for --output" ;;
      replay) options+=" --journal --quiet" ;;
      record) options+=" --output --for" ;;
      review) options+=" --from --to --format --output" ;;
      export) options+=" --from --to" ;;
    esac
    mapfile -t COMPREPLY < <(compgen -W "$options" -- "$cur")
  else
    mapfile -t COMPREPLY < <(compgen -f -- "$cur")
  fi
}
complete -o filenames -F _firnwatt firnwatt
