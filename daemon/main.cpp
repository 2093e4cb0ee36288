#include <malloc.h>
#include <unistd.h>

#include <cstdio>
#include <exception>
#include <iostream>

#include "command.h"

namespace {
// Months on a small board: one heap for all threads, and what is large goes back to the system when it is freed.
// Left to itself the C library gives each connection's thread a heap and keeps the holes that large, short-lived
// buffers leave: twice the growth over a replayed winter (tests/long/soak).
void keep_heap_small() {
  mallopt(M_ARENA_MAX, 1);
  mallopt(M_MMAP_THRESHOLD, 64 * 1024);
  mallopt(M_TRIM_THRESHOLD, 128 * 1024);
}
}  // namespace

int main(int argc, char** argv) {
  keep_heap_small();
  using namespace fw;
  CLI::App app{
      "Watches the solar roof and battery of an off-grid rig through the winter: names the cause of a shortfall,\n"
      "keeps charging inside the bank's temperature limits, says what to do, and keeps a journal.",
      "firnwatt"};
  app.set_version_flag("--version", std::string("firnwatt ") + FW_VERSION);
  app.require_subcommand(1);
  app.get_formatter()->column_width(34);
  app.footer(
      "Exit: 0 fine, 1 ran and found something wrong, 2 unusable input, 130 or 143 stopped by a signal.\n"
      "Times without a zone are local to the rig. Each command has its own --help.");
  Todo todo;
  add_run(app, todo);
  add_check(app, todo);
  add_expect(app, todo);
  add_listen(app, todo);
  add_replay(app, todo);
  add_record(app, todo);
  add_try(app, todo);
  add_status(app, todo);
  add_owner_words(app, todo);
  add_review(app, todo);
  add_export(app, todo);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& e) {
    const int code = app.exit(e, std::cout, std::cerr);
    return code == 0 ? fine : unusable;
  }
  int code = found_wrong;
  try {
    code = todo();
  } catch (const std::exception& e) {
    std::cerr << "firnwatt: internal fault: " << e.what() << "\n";
  }
  std::cout.flush();
  std::fflush(nullptr);
  // A full disk must not pass for a complete table.
  if (!std::cout || std::ferror(stdout)) {
    std::cerr << "firnwatt: the output could not be written in full\n";
    if (code == fine) code = found_wrong;
  }
  return code;
}
