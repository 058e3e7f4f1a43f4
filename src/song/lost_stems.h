// Stems that could not be read: the others tell what they can.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "song/plan.h"
#include "song/song_findings.h"

namespace sendworthy::song {

class LostStems {
 public:
  using Troubles = std::vector<std::string>;  ///< of each stem, why it could not be read; empty: it could
  LostStems(const Plan& plan, const Troubles& troubles);

  /// The plan with the stems that could be read; with all of them where none could.
  [[nodiscard]] const Plan& readable() const { return readable_; }
  /// Puts those that could not be read back into the sheet, and takes back what they might have changed.
  void tell(SongSheet& sheet, Findings& findings) const;

 private:
  [[nodiscard]] bool might_change(const Finding& finding) const;

  const Plan& plan_;
  Plan readable_;
  std::vector<std::size_t> lost_;
  std::string why_;
};

}  // namespace sendworthy::song
