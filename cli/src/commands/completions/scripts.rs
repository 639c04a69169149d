//! The scripts that a shell loads. They start `tierod` as it is found in the search path, never one named on the line: that
//! could be a file of a repository.

use clap_complete::Shell;

/// The script of a shell; `None` if it has none of its own.
pub(super) fn script(shell: Shell) -> Option<&'static str> {
    match shell {
        Shell::Bash => Some(BASH),
        Shell::Zsh => Some(ZSH),
        Shell::Fish => Some(FISH),
        _ => None,
    }
}

const BASH: &str = r#"# Completion of tierod in bash: source <(tierod completions bash)
_tierod() {
    local word
    COMPREPLY=()
    while IFS= read -r word; do
        COMPREPLY+=("$word")
    done < <(command tierod --complete bash "${COMP_LINE:0:COMP_POINT}" "$COMP_WORDBREAKS" 2>/dev/null)
    if (( ${#COMPREPLY[@]} )); then
        compopt -o nospace 2>/dev/null
    fi
}
complete -o default -o nosort -F _tierod tierod 2>/dev/null || complete -o default -F _tierod tierod
"#;

const ZSH: &str = r#"#compdef tierod
# Completion of tierod in zsh: source <(tierod completions zsh), behind compinit
_tierod() {
    local word about
    local -a whole whole_shown open open_shown
    while IFS=$'\t' read -r word about; do
        if [[ $word == *[=./] ]]; then
            open+=("$word") open_shown+=("$word${about:+  -- $about}")
        else
            whole+=("$word") whole_shown+=("$word${about:+  -- $about}")
        fi
    done < <(command tierod --complete zsh "${(@Q)words[1,CURRENT]}" 2>/dev/null)
    (( $#whole )) && compadd -l -d whole_shown -a whole
    (( $#open )) && compadd -l -S '' -d open_shown -a open
    (( $#whole + $#open )) || _files
}
if [[ $funcstack[1] == _tierod ]]; then
    _tierod "$@"
else
    compdef _tierod tierod
fi
"#;

const FISH: &str = r#"# Completion of tierod in fish: tierod completions fish | source
function __tierod_complete
    set -l words (commandline --current-process --tokenize --cut-at-cursor) (commandline --current-token --cut-at-cursor)
    set -l found (command tierod --complete fish $words 2>/dev/null)
    if test (count $found) -gt 0
        printf '%s\n' $found
    else
        __fish_complete_path (commandline --current-token)
    end
end
complete --command tierod --no-files --keep-order --arguments '(__tierod_complete)'
"#;
