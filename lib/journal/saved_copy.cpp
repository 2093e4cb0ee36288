#include "journal/saved_copy.h"

#include "journal/salvage.h"

namespace fw::journal {

Result<SavedCopy> save_copy(const std::string& damaged, const std::string& to) {
  Names names;
  Pending nothing;
  Store into;
  Salvage salvage(damaged, names, into);
  if (into.open(to, true, names, nothing) != Store::Opened::ready) return Fault{to, "cannot be written: " + into.db.message()};
  names.all_unsaved();
  salvage.essentials(into.db, names);
  while (salvage.step(into.db, names)) {
  }
  if (!into.put(nothing, names, Store::What::all, "UTC")) return Fault{to, "cannot be written: " + into.db.message()};
  return SavedCopy{salvage.saved(), salvage.lost()};
}

}  // namespace fw::journal
