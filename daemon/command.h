#pragma once
// The subcommands, one file each. Each declares its options and says what to do when it is chosen.
#include <CLI/CLI.hpp>
#include <functional>

#include "exit_code.h"

namespace fw {

/// Set by the chosen subcommand; main() runs it after parsing.
using Todo = std::function<int()>;

void add_run(CLI::App& app, Todo& todo);
void add_check(CLI::App& app, Todo& todo);
void add_expect(CLI::App& app, Todo& todo);
void add_listen(CLI::App& app, Todo& todo);
void add_replay(CLI::App& app, Todo& todo);
void add_record(CLI::App& app, Todo& todo);
void add_try(CLI::App& app, Todo& todo);
void add_status(CLI::App& app, Todo& todo);
void add_owner_words(CLI::App& app, Todo& todo);  ///< note, acknowledge, shelve
void add_review(CLI::App& app, Todo& todo);
void add_export(CLI::App& app, Todo& todo);

}  // namespace fw
