#include "journal/journal.h"

#include <sys/stat.h>
#include <sys/statvfs.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <utility>

#include "journal/about.h"
#include "journal/check.h"
#include "journal/retention.h"
#include "journal/salvage.h"
#include "journal/schema.h"
#include "journal/store.h"
#include "units/text.h"

namespace fw::journal {

namespace fs = std::filesystem;

namespace {

constexpr Span look_every = seconds{5};            // at the file from outside
constexpr Span try_again = seconds{20};            // after trouble
constexpr Span age_every = minutes{10};
constexpr Span snapshots_every = hours{1};
constexpr Span check_every = days{7};
constexpr std::int64_t log_worth_moving = 1 << 20;       // well over what an emptied log is cut to (store.cpp)
constexpr std::int64_t log_held_by_reader = 8 << 20;
constexpr Span held_for = hours{1};                // no review and no export takes as long
constexpr int least_minutes_days = 2;              // kept in minutes on a card that fills up

struct Identity {
  dev_t device = 0;
  ino_t inode = 0;
  std::int64_t changed_ns = 0;
  bool exists = false;
};

Identity identity(const std::string& path) {
  struct stat s {};
  if (::stat(path.c_str(), &s) != 0) return {};
  return {s.st_dev, s.st_ino, std::int64_t{s.st_mtim.tv_sec} * 1'000'000'000 + s.st_mtim.tv_nsec, true};
}

std::int64_t size_of(const std::string& path) {
  std::error_code none;
  const auto n = fs::file_size(path, none);
  return none ? 0 : static_cast<std::int64_t>(n);
}

/// A name for a damaged file that is not taken: "<path>.damaged-20260115T084000Z", then "...-2".
std::string aside_name(const std::string& path, Utc utc) {
  std::string stamp = iso_utc(floor_to(utc, seconds{1}));
  std::erase_if(stamp, [](char c) { return c == '-' || c == ':'; });
  const std::string base = path + ".damaged-" + stamp;
  std::string name = base;
  for (int n = 2; fs::exists(name); ++n) name = base + '-' + std::to_string(n);
  return name;
}

/// Of earlier damaged files the newest is kept.
void remove_older_damaged(const std::string& path) {
  const fs::path journal(path);
  std::vector<fs::path> found;
  std::error_code none;
  for (const auto& e : fs::directory_iterator(journal.parent_path().empty() ? "." : journal.parent_path(), none)) {
    const std::string n = e.path().filename().string();
    if (n.starts_with(journal.filename().string() + ".damaged-") && !n.ends_with("-wal") && !n.ends_with("-shm")) found.push_back(e.path());
  }
  std::sort(found.begin(), found.end());
  for (std::size_t i = 0; i + 1 < found.size(); ++i)
    for (const char* part : {"", "-wal", "-shm"}) fs::remove(found[i].string() + part, none);
}

}  // namespace

struct Journal::Impl {
  std::string path;
  Options options;
  Store store;
  Names names;
  Pending pending;
  std::map<std::string, std::string> known;     // snapshots as written or waiting
  std::string zone = "UTC";
  std::vector<std::string> news;
  std::unique_ptr<Salvage> salvage;
  std::string aside;
  Check check;
  Identity seen;
  bool ready = false;                            // the file is open and has our tables
  Trouble trouble = Trouble::none;
  std::string trouble_message;
  bool held_by_reader = false;
  std::optional<Elapsed> held_since;
  std::optional<Elapsed> oldest_waiting, last_look, last_try, last_age, last_check, last_snapshots;

  // -- opening and closing --

  /// A fault only when somebody must act.
  Result<void> start(Now now) {
    const Store::Opened opened = store.open(path, options.bulk, names, pending);
    switch (opened) {
      case Store::Opened::newer:
        store.close();
        return Fault{path, "this journal was made by a newer firnwatt; this one reads up to version " + std::to_string(schema_version()) +
                               ". Update firnwatt, or name another file"};
      case Store::Opened::foreign:
        store.close();
        return Fault{path, "this is another program's SQLite file, not a firnwatt journal. Name another file"};
      case Store::Opened::damaged:
        if (store.db.trouble() == Trouble::not_sqlite && !could_be_ours()) {
          store.close();
          return Fault{path, "this is not a firnwatt journal. Name another file"};
        }
        set_aside(now);
        return {};
      case Store::Opened::failed: failed(now); return {};
      case Store::Opened::ready: break;
    }
    ready = true;
    clear_trouble();
    for (auto& [key, data] : store.snapshots()) known.try_emplace(key, data);
    learn_zone();
    seen = identity(path);
    if (!options.bulk) {
      check.start(path);
      last_check = now.at;
    }
    return {};
  }

  /// A file that SQLite does not know at all: ours with a broken head, or something else by mistake?
  bool could_be_ours() const { return path.ends_with(".journal") || size_of(path) % 4096 == 0; }

  void reopen(Now now) {
    check.stop();
    store.close();
    ready = false;
    if (auto r = start(now); !r) {
      trouble = Trouble::other;
      trouble_message = r.fault().what;
    }
  }

  void learn_zone() {
    if (const auto it = known.find("rig"); it != known.end()) zone = about_in(it->second).timezone;
  }

  // -- trouble --

  void failed(Now now) {
    trouble = store.db.trouble();
    if (trouble == Trouble::none) trouble = Trouble::other;
    trouble_message = store.db.message();
    last_try = now.at;
  }
  void clear_trouble() {
    trouble = Trouble::none;
    trouble_message.clear();
  }
  Result<void> as_result() const {
    if (auto t = words()) return Fault{path, *t};
    return {};
  }
  std::optional<std::string> words() const {
    const std::string goes_on = " Watching and charge control go on; the latest hours are kept in memory.";
    switch (trouble) {
      case Trouble::none:
        if (held_by_reader) return "Another program keeps the journal open for reading, so it cannot be tidied. Close what reads it.";
        return std::nullopt;
      case Trouble::full: return "The card is full and the journal has stopped." + goes_on + " Make room on the card.";
      case Trouble::read_only: return "The card can only be read and the journal has stopped." + goes_on + " Have the card looked at.";
      case Trouble::busy: return "Another program is writing the journal." + goes_on;
      case Trouble::damaged:
      case Trouble::not_sqlite: return "The journal is damaged and could not be set aside." + goes_on + " Have the card looked at.";
      case Trouble::missing: return "The journal cannot be opened." + goes_on + " Look at the folder and its rights.";
      case Trouble::other: return "The journal cannot be written (" + trouble_message + ")." + goes_on + " Have the card looked at.";
    }
    return std::nullopt;
  }

  // -- damage --

  void set_aside(Now now) {
    check.stop();
    salvage.reset();
    store.close();
    ready = false;
    const std::string to = aside_name(path, now.utc);
    if (std::rename(path.c_str(), to.c_str()) != 0) {
      trouble = Trouble::damaged;
      last_try = now.at;
      return;
    }
    std::error_code none;
    fs::rename(path + "-wal", to + "-wal", none);
    fs::remove(path + "-shm", none);
    remove_older_damaged(path);
    aside = fs::path(to).filename().string();

    salvage = std::make_unique<Salvage>(to, names, store);
    for (const auto& [key, data] : known)
      if (!pending.snapshots.count(key)) pending.snapshots[key] = SnapshotRow{{now.utc, now.at, now.trusted}, key, data};
    if (store.open(path, options.bulk, names, pending) != Store::Opened::ready) {
      failed(now);
      return;
    }
    ready = true;
    clear_trouble();
    names.all_unsaved();
    salvage->essentials(store.db, names);
    for (auto& [key, data] : store.snapshots()) known.try_emplace(key, data);
    learn_zone();
    const std::string text = "The journal was damaged. It is set aside as " + aside +
                             " and a new one has begun; what can be read of the old one is being saved. Nothing to do.";
    news.push_back(text);
    pending.urgent.push_back(EventRow{{now.utc, now.at, now.trusted}, "journal_damaged", text});
    commit(now, Store::What::urgent);
    seen = identity(path);
  }

  void salvage_step(Now now) {
    if (salvage->step(store.db, names)) return;
    const std::string text = "Saved " + std::to_string(salvage->saved()) + " rows of " + aside +
                             (salvage->lost() ? "; about " + std::to_string(salvage->lost()) + " samples could not be read." : ".");
    salvage.reset();
    pending.urgent.push_back(EventRow{{now.utc, now.at, now.trusted}, "journal_saved", text});
    commit(now, Store::What::urgent);
  }

  // -- writing --

  bool commit(Now now, Store::What what) {
    if (!ready) reopen_if_due(now);
    if (!ready) return false;
    if (trouble != Trouble::none && !store.can_write()) {
      failed(now);
      return false;
    }
    if (!store.put(pending, names, what, zone)) {
      if (store.db.trouble() == Trouble::damaged || store.db.trouble() == Trouble::not_sqlite) {
        set_aside(now);
        if (!ready || !store.put(pending, names, what, zone)) {
          if (ready) failed(now);
          return false;
        }
      } else {
        failed(now);
        return false;
      }
    }
    clear_trouble();
    written(what, now);
    if (const std::size_t lost = std::exchange(pending.dropped, 0)) {
      pending.urgent.push_back(EventRow{{now.utc, now.at, now.trusted}, "journal_gap",
                                        "The journal could not be written for a while: " + std::to_string(lost) + " rows are missing."});
    }
    move_log();
    return true;
  }

  /// Samples that are due. Snapshots that come alone are large and soon stale: hourly is enough, in a replay daily.
  bool commit_batch(Now now) {
    const bool with_turn = !options.bulk && !pending.urgent.empty();
    const Span every = options.bulk ? Span{days{1}} : snapshots_every;
    if (with_turn || !last_snapshots || now.at - *last_snapshots >= every) return commit(now, Store::What::all);
    auto later = std::exchange(pending.snapshots, {});
    const bool ok = commit(now, Store::What::all);
    for (auto& [key, row] : later) pending.snapshots.try_emplace(key, std::move(row));
    return ok;
  }

  void written(Store::What what, Now now) {
    for (const auto& [key, row] : pending.snapshots) known[key] = row.data;
    if (!pending.snapshots.empty()) last_snapshots = now.at;
    pending.snapshots.clear();
    pending.urgent.clear();
    if (what == Store::What::urgent) return;
    pending.strings.clear();
    pending.banks.clear();
    pending.changes.clear();
    oldest_waiting.reset();
  }

  void reopen_if_due(Now now) {
    if (!last_try || now.at - *last_try >= try_again || now.at < *last_try) reopen(now);
  }

  /// After trouble, writes are tried again at intervals and not at every row.
  bool resting(Now now) const {
    return trouble != Trouble::none && last_try && now.at >= *last_try && now.at - *last_try < try_again;
  }

  std::int64_t log_bytes() const { return size_of(path + "-wal"); }

  void move_log() {
    if (log_bytes() < log_worth_moving) return;
    store.db.checkpoint();
    seen = identity(path);
  }

  // -- upkeep --

  void look(Now now) {
    const Identity is = identity(path);
    if (!is.exists || is.inode != seen.inode || is.device != seen.device) {
      // Removed or replaced by hand: what we hold open is no longer the journal.
      for (const auto& [key, data] : known)
        if (!pending.snapshots.count(key)) pending.snapshots[key] = SnapshotRow{{now.utc, now.at, now.trusted}, key, data};
      names.all_unsaved();
      reopen(now);
      return;
    }
    if (is.changed_ns != seen.changed_ns && !check.running()) {
      seen = is;
      check.start(path);
      last_check = now.at;
    }
  }

  void note_reader(Now now) {
    const std::int64_t log = log_bytes();
    if (log < log_worth_moving || store.db.checkpoint() == 0) {
      held_since.reset();
      held_by_reader = false;
      return;
    }
    seen = identity(path);
    if (!held_since || now.at < *held_since) held_since = now.at;
    if (held_by_reader || (log < log_held_by_reader && now.at - *held_since < held_for)) return;
    held_by_reader = true;
    pending.urgent.push_back(EventRow{{now.utc, now.at, now.trusted}, "journal_held",
                                      "A program keeps the journal open for reading: it cannot be tidied until that one ends."});
  }

  /// The log may grow no further while somebody reads: samples stay in memory, the rest still goes in.
  bool log_at_bound() const {
    return held_by_reader && log_bytes() > static_cast<std::int64_t>(std::max<std::size_t>(options.max_bytes / 4, 16u << 20));
  }

  bool card_scarce() const {
    struct statvfs s {};
    const std::string folder = fs::path(path).parent_path().empty() ? "." : fs::path(path).parent_path().string();
    return ::statvfs(folder.c_str(), &s) == 0 && std::uintmax_t{s.f_bavail} * s.f_frsize < options.spare_card_bytes;
  }

  void age(Now now) {
    const std::int64_t minute = minute_of(now.utc);
    Aged aged = Aged::nothing;
    if (now.trusted) aged = age_minutes(store.db, minute - std::int64_t{options.keep_minutes_days} * 1440, minute);
    const auto limit = static_cast<std::int64_t>(options.max_bytes);
    const std::int64_t room_for_log = std::min<std::int64_t>(limit / 4, 4 << 20);
    const bool over = used_bytes(store.db) > limit - room_for_log;
    if (aged == Aged::nothing && (over || card_scarce())) {
      // Whoever fills the card, it costs no more than the minutes; the winter in five minutes stays.
      aged = over ? make_room(store.db, minute) : now.trusted ? age_minutes(store.db, minute - least_minutes_days * 1440, minute) : Aged::nothing;
      if (aged == Aged::piece) store.db.exec("PRAGMA incremental_vacuum(2000)");
    }
    if (aged == Aged::failed) {
      if (store.db.trouble() == Trouble::damaged) set_aside(now);
      else failed(now);
    }
    // A piece may leave another one due: go on at the next call. Done: rest.
    if (aged != Aged::piece) last_age = now.at;
    move_log();
  }

  void maintain(Now now) {
    if (!ready) {
      reopen_if_due(now);
      if (!ready) return;
    }
    if (!last_look || now.at - *last_look >= look_every) {
      last_look = now.at;
      look(now);
      if (!ready) return;
      note_reader(now);
    }
    if (auto found = check.result(); found && !found->empty()) set_aside(now);
    if (!ready) return;
    if (trouble != Trouble::none && !resting(now)) {
      reopen(now);
      if (ready) commit(now, Store::What::all);
    }
    if (trouble != Trouble::none) return;
    if (!pending.urgent.empty() && !options.bulk) commit(now, Store::What::urgent);
    if (oldest_waiting && now.at - *oldest_waiting >= options.batch && !log_at_bound()) commit_batch(now);
    if (!ready) return;
    if (salvage) {
      salvage_step(now);
      return;
    }
    if (!last_age || now.at - *last_age >= (options.bulk ? Span{hours{1}} : age_every)) age(now);
    if (!options.bulk && last_check && now.at - *last_check >= check_every && !check.running()) {
      check.start(path);
      last_check = now.at;
    }
  }
};

Journal::Journal(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}

Journal::~Journal() {
  impl_->check.stop();
  if (impl_->ready) impl_->store.db.checkpoint();
}

Result<std::unique_ptr<Journal>> Journal::open(const std::string& path, const Options& options, Now now) {
  std::error_code none;
  const fs::path folder = fs::path(path).parent_path();
  if (!folder.empty() && !fs::is_directory(folder, none)) return Fault{path, "the folder " + folder.string() + " does not exist"};
  if (fs::is_directory(path, none)) return Fault{path, "this is a folder; a journal is a file"};
  auto impl = std::make_unique<Impl>();
  impl->path = path;
  impl->options = options;
  if (auto r = impl->start(now); !r) return r.fault();
  return std::unique_ptr<Journal>(new Journal(std::move(impl)));
}

Result<void> Journal::write(std::vector<Row> rows, Now now) {
  Impl& j = *impl_;
  bool urgent = false;
  for (Row& row : rows) {
    if (const auto* s = std::get_if<SnapshotRow>(&row)) {
      const auto it = j.known.find(s->key);
      if (it != j.known.end() && it->second == s->data && !j.pending.snapshots.count(s->key)) continue;
      if (s->key == "rig") j.zone = about_in(s->data).timezone;
    }
    urgent = j.pending.take(std::move(row), j.names, j.zone) || urgent;
  }
  if (!j.oldest_waiting && !j.pending.empty()) j.oldest_waiting = now.at;

  const bool due = j.oldest_waiting && now.at - *j.oldest_waiting >= j.options.batch && !j.log_at_bound();
  if (!due && (!urgent || j.options.bulk)) return {};
  if (!j.resting(now)) due ? j.commit_batch(now) : j.commit(now, Store::What::urgent);
  if (!urgent || j.pending.urgent.empty()) return {};
  return j.as_result();
}

Result<void> Journal::flush(Now now) {
  Impl& j = *impl_;
  if (j.pending.empty()) return {};
  if (j.commit(now, Store::What::all)) return {};
  return j.as_result();
}

void Journal::maintain(Now now) { impl_->maintain(now); }

std::optional<std::string> Journal::trouble() const { return impl_->words(); }

std::vector<std::string> Journal::take_news() { return std::exchange(impl_->news, {}); }

std::map<std::string, std::string> Journal::snapshots() {
  auto all = impl_->known;
  for (const auto& [key, row] : impl_->pending.snapshots) all[key] = row.data;
  return all;
}

std::vector<NoticeRow> Journal::open_notices() {
  std::vector<NoticeRow> open = impl_->ready ? impl_->store.open_notices() : std::vector<NoticeRow>{};
  for (const Row& row : impl_->pending.urgent) {
    const auto* n = std::get_if<NoticeRow>(&row);
    if (!n) continue;
    std::erase_if(open, [&](const NoticeRow& o) { return o.id == n->id; });
    if (n->state == "waiting" || n->state == "sent") open.push_back(*n);
  }
  return open;
}

std::size_t Journal::waiting() const { return impl_->pending.size(); }

}  // namespace fw::journal
