//! Everything that touches git, git's folders or the files of a project on disk. The rest of the crate works on what
//! is read here.
//!
//! | file | for |
//! | --- | --- |
//! | `environment` | the variables that bind git to a repository, and finding one from a folder |
//! | `config_size` | the sizes of a repository's configuration and of git's own files, before they are read |
//! | `process` | running the program `git` |
//! | `error` | what can go wrong, by kind |
//! | `regular` | opening files without following a link or waiting for a pipe |
//! | `access` | the small interface that both ways of reading a repository have |
//! | `library`, `plumbing` | the two ways: libgit2, and git's own commands |
//! | `checked_out`, `loose_blobs` | contents that are read without either: from the working tree, from files of objects |
//! | `untracked` | the files that git does not track and does not ignore |
//! | `repository` | a repository behind both: git's commands are tried where libgit2 fails |
//! | `revisions` | names of revisions |
//! | `objects` | commits and trees, differences of two trees |
//! | `walk` | the commits that changed a project, for the history |
//! | `project`, `worktree`, `entries` | snapshots of a project, and the files that its records name |
//! | `base` | what a change is compared with, if nothing is named |
//! | `forge` | the change that CI runs for, from its environment |
//! | `remotes` | the remotes and the default branch |
//! | `hooks` | the folder of the hooks |
//! | `create` | a new repository from given commits |
//! | `spreadsheet` | the bytes of a spreadsheet that is imported |
//! | `large_files` | the bytes of stress files and of pictures, which may be large |
//! | `beside` | a file that is written beside its place, and renamed |
//! | `new_file` | a file outside of the records that the user asked for, as of `export` |
//! | `link_out` | links in a repository that lead out of it, where a file is asked for |
//! | `watched` | whether the files of a project may have changed, for `page --watch` |
//! | `write` | edited files of a project, all or none of them |
//! | `commits_read` | how many different commits the process has read |
//! | `writing` | whether the process has begun to write |
//! | `cache_file`, `cache_folder` | what was calculated in an earlier run, in git's folder |
//! | `records_cache`, `reports_cache`, `models_cache` | the decoded records, the reports and the runs of models of earlier runs |
//! | `key` | the secret of the user with which these files are signed |
//! | `waiting`, `packs`, `loose`, `asleep` | what makes a command wait without an end |
//! | `alternates` | the folders of objects that others name |
//! | `settings_history` | since when the settings switch checks off |
//!
//! Nothing here writes into an existing repository except the cache folder, `write` the files that a command edits, and
//! `new_file` the one that was named: no lock is taken, no tree is written, nothing is stashed.

mod access;
mod alternates;
mod asleep;
mod base;
mod beside;
pub(crate) mod cache_file;
mod cache_folder;
mod checked_out;
mod commits_read;
mod config_size;
mod create;
mod entries;
mod environment;
mod error;
mod forge;
mod hooks;
mod key;
mod large_files;
mod library;
mod link_out;
mod loose;
mod loose_blobs;
mod models_cache;
mod new_file;
mod objects;
mod packs;
mod plumbing;
mod process;
mod project;
mod records_cache;
mod regular;
mod remotes;
mod reports_cache;
mod repository;
mod revisions;
mod settings_history;
mod spreadsheet;
mod untracked;
mod waiting;
pub(crate) mod walk;
mod watched;
mod worktree;
mod write;
mod writing;

pub use base::Base;
pub use beside::{Beside, Rights, Unfilled};
pub(crate) use commits_read::count_commit;
pub use commits_read::{commits_read, count_commits_again};
pub use create::{NewCommit, create_repository};
pub use error::GitError;
pub use hooks::{Hooks, LeadsOut, read_hook};
pub use link_out::refuse_link_out;
pub use new_file::{may_be_written, write_file, write_own_file};
pub use project::Project;
pub use remotes::Remotes;
pub use settings_history::OffSince;
pub use spreadsheet::read_spreadsheet;
pub use waiting::never_ends;
pub use watched::Watched;
pub use worktree::find_root;
pub use write::NewFile;
pub use writing::{begin_writing, end_writing, unless_writing};
