// One row of a CSV table (RFC 4180, lines end in CR LF).
#pragma once

#include <string>
#include <string_view>

#include "base/text.h"

namespace sendworthy::sheet {

class CsvRow {
 public:
  explicit CsvRow(std::string& out) : out_(out) {}
  ~CsvRow() { out_ += "\r\n"; }
  CsvRow(const CsvRow&) = delete;
  CsvRow& operator=(const CsvRow&) = delete;

  /// Any bytes: cleaned to one line, quoted where needed, formulas defused.
  void text(std::string_view bytes) { raw(base::for_csv(base::for_terminal(bytes))); }

  /// Our own digits and words, which need no quotes and must stay numbers.
  void raw(std::string_view cell) {
    if (!first_) out_ += ',';
    first_ = false;
    out_ += cell;
  }

 private:
  std::string& out_;
  bool first_ = true;
};

}  // namespace sendworthy::sheet
