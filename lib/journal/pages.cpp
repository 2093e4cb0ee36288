#include "journal/pages.h"

#include <array>
#include <bit>
#include <optional>

namespace fw::journal {

namespace {

constexpr std::size_t least_page = 512, most_page = 65536, head_bytes = 100;
constexpr std::size_t log_head = 32, frame_head = 24, most_payload = 16u << 20;
constexpr unsigned char table_leaf = 0x0d, index_leaf = 0x0a, table_inner = 0x05, index_inner = 0x02;

std::uint64_t big_endian(std::string_view s, std::size_t at, std::size_t bytes) {
  std::uint64_t v = 0;
  for (std::size_t i = 0; i < bytes; ++i) v = v << 8 | static_cast<unsigned char>(s[at + i]);
  return v;
}

/// Reads a variable-length integer and moves `at` behind it.
std::optional<std::uint64_t> varint(std::string_view s, std::size_t& at) {
  std::uint64_t v = 0;
  for (int i = 0; i < 9; ++i) {
    if (at >= s.size()) return std::nullopt;
    const auto byte = static_cast<unsigned char>(s[at++]);
    if (i == 8) return v << 8 | byte;
    v = v << 7 | (byte & 0x7f);
    if (!(byte & 0x80)) return v;
  }
  return v;
}

unsigned char kind_of(std::string_view page, std::size_t head) { return static_cast<unsigned char>(page[head]); }

bool sane_head(std::string_view page, std::size_t head) {
  const auto kind = kind_of(page, head);
  if (kind != table_leaf && kind != index_leaf && kind != table_inner && kind != index_inner) return false;
  const auto cells = big_endian(page, head + 3, 2);
  const auto content = big_endian(page, head + 5, 2);
  const std::size_t pointers = head + (kind == table_leaf || kind == index_leaf ? 8 : 12) + 2 * cells;
  return pointers <= page.size() && (content == 0 || (content >= pointers && content <= page.size()));
}

/// Cells are laid from a page's end: in the bytes of a smaller page none lies in the second half.
bool reaches_its_end(std::string_view page, std::size_t head) {
  const auto cells = big_endian(page, head + 3, 2);
  const std::size_t pointers = head + (kind_of(page, head) == table_leaf || kind_of(page, head) == index_leaf ? 8 : 12);
  for (std::size_t c = 0; c < cells; ++c)
    if (big_endian(page, pointers + 2 * c, 2) >= page.size() / 2) return true;
  return false;
}

/// Appends a value of the record; false when there can be none such.
bool take_value(std::uint64_t type, std::string_view record, std::size_t& at, std::vector<PageValue>& into) {
  static constexpr std::array<std::size_t, 10> sizes{0, 1, 2, 3, 4, 6, 8, 8, 0, 0};
  if (type == 10 || type == 11 || (type >= 12 && type % 2 == 0)) return false;   // reserved, or a blob: a journal has none
  const std::uint64_t size = type < 10 ? sizes[type] : (type - 12) / 2;
  if (size > record.size() - at) return false;
  const std::size_t from = at;
  at += static_cast<std::size_t>(size);
  if (type == 0) {
    into.emplace_back();
  } else if (type == 8 || type == 9) {
    into.emplace_back(static_cast<std::int64_t>(type - 8));
  } else if (type == 7) {
    into.emplace_back(std::bit_cast<double>(big_endian(record, from, 8)));
  } else if (type < 7) {
    const unsigned unused = static_cast<unsigned>(64 - 8 * size);
    into.emplace_back(static_cast<std::int64_t>(big_endian(record, from, static_cast<std::size_t>(size)) << unused) >> unused);
  } else {
    into.emplace_back(std::string(record.substr(from, static_cast<std::size_t>(size))));
  }
  return true;
}

}  // namespace

Pages::Pages(const std::string& path) : file_(path, std::ios::binary), log_(path + "-wal", std::ios::binary) {
  file_.seekg(0, std::ios::end);
  const auto file_bytes = file_ ? static_cast<std::size_t>(file_.tellg()) : 0;
  // The head that says the size of a page may be gone: the size under which most of the file looks like pages.
  std::size_t best = 0;
  for (std::size_t bytes = least_page; bytes <= most_page; bytes *= 2) {
    std::size_t good = 0;
    std::string page(bytes, '\0');
    for (std::size_t i = 0; i < std::min<std::size_t>(file_bytes / bytes, 400); ++i) {
      file_.seekg(static_cast<std::streamoff>(i * bytes));
      const std::size_t at = i == 0 ? head_bytes : 0;
      if (file_.read(page.data(), static_cast<std::streamsize>(bytes)) && sane_head(page, at) && reaches_its_end(page, at)) good += bytes;
      file_.clear();
    }
    if (good > best) best = good, page_bytes_ = bytes;
  }
  file_pages_ = page_bytes_ ? file_bytes / page_bytes_ : 0;
  usable_ = page_bytes_;

  std::string head(log_head, '\0');
  if (!page_bytes_ || !log_ || !log_.read(head.data(), log_head) || big_endian(head, 8, 4) != page_bytes_) return;
  std::vector<std::size_t> open, whole;
  std::string frame(frame_head, '\0');
  for (std::size_t at = log_head;; at += frame_head + page_bytes_) {
    log_.clear();
    log_.seekg(static_cast<std::streamoff>(at));
    if (!log_.read(frame.data(), frame_head) || frame.compare(8, 8, head, 16, 8) != 0) break;
    open.push_back(at + frame_head);
    if (big_endian(frame, 4, 4) == 0) continue;
    whole.insert(whole.end(), open.begin(), open.end());   // a transaction was completed
    open.clear();
  }
  log_frames_.assign(whole.rbegin(), whole.rend());
}

bool Pages::read_file_page(std::uint32_t number, std::string& page) {
  if (number == 0 || number > file_pages_) return false;
  page.resize(page_bytes_);
  file_.clear();
  file_.seekg(static_cast<std::streamoff>(std::size_t{number - 1} * page_bytes_));
  return static_cast<bool>(file_.read(page.data(), static_cast<std::streamsize>(page_bytes_)));
}

bool Pages::read(std::size_t i, std::string& page) {
  if (i >= log_frames_.size()) return read_file_page(static_cast<std::uint32_t>(i - log_frames_.size() + 1), page);
  page.resize(page_bytes_);
  log_.clear();
  log_.seekg(static_cast<std::streamoff>(log_frames_[i]));
  return static_cast<bool>(log_.read(page.data(), static_cast<std::streamsize>(page_bytes_)));
}

/// A payload too long for its page goes on in a chain of overflow pages.
bool Pages::bytes_of(std::string_view page, std::size_t at, std::size_t payload, bool index, std::string& out) {
  const std::size_t most = index ? (usable_ - 12) * 64 / 255 - 23 : usable_ - 35;
  if (payload <= most) {
    if (at + payload > page.size()) return false;
    out.assign(page.substr(at, payload));
    return true;
  }
  const std::size_t least = (usable_ - 12) * 32 / 255 - 23;
  const std::size_t fits = least + (payload - least) % (usable_ - 4);
  const std::size_t here = fits <= most ? fits : least;
  if (at + here + 4 > page.size()) return false;
  out.assign(page.substr(at, here));
  auto next = static_cast<std::uint32_t>(big_endian(page, at + here, 4));
  std::string more;
  while (out.size() < payload) {
    if (!read_file_page(next, more)) return false;
    next = static_cast<std::uint32_t>(big_endian(more, 0, 4));
    out.append(more, 4, std::min(payload - out.size(), usable_ - 4));
  }
  return true;
}

bool Pages::record(std::string_view page, std::size_t at, std::size_t payload, PageRow& row, bool index) {
  std::string bytes;
  if (payload > most_payload || !bytes_of(page, at, payload, index, bytes)) return false;
  std::size_t types = 0;
  const auto head = varint(bytes, types);
  if (!head || *head > bytes.size() || *head < types) return false;
  auto body = static_cast<std::size_t>(*head);
  while (types < *head) {
    const auto type = varint(bytes, types);
    if (!type || types > *head) return false;
    if (!take_value(*type, bytes, body, row.values)) return false;
  }
  return body == bytes.size();
}

void Pages::rows(std::size_t i, const std::function<void(PageRow&&)>& each) {
  std::string page;
  if (!read(i, page)) return;
  const std::size_t head = page.starts_with("SQLite format 3") ? head_bytes : 0;
  if (!sane_head(page, head)) return;
  const auto kind = kind_of(page, head);
  if (kind == table_inner) return;
  const bool inner = kind == index_inner, index = kind != table_leaf;
  const auto cells = big_endian(page, head + 3, 2);
  for (std::size_t c = 0; c < cells; ++c) {
    std::size_t at = big_endian(page, head + (inner ? 12 : 8) + 2 * c, 2);
    if (inner) at += 4;
    const auto payload = varint(page, at);
    if (!payload) continue;
    PageRow row;
    if (!index) {
      const auto number = varint(page, at);
      if (!number) continue;
      row.numbered = true;
      row.number = static_cast<std::int64_t>(*number);
    }
    if (record(page, at, static_cast<std::size_t>(*payload), row, index)) each(std::move(row));
  }
}

}  // namespace fw::journal
