// Which files of a folder are there for which item of an order.
#pragma once

#include <sendworthy/sheet.h>

#include <string>
#include <vector>

#include "delivery/order.h"

namespace sendworthy::delivery {

struct Gathered {
  std::vector<std::vector<std::string>> files;  ///< of each item, relative to the order's folder, sorted
  std::vector<std::string> extra;               ///< audio that belongs to no item
  std::vector<std::string> foreign;             ///< neither audio nor what usually travels along
  std::vector<std::string> all;                 ///< every file below the folder, links to folders aside
  std::string trouble;                          ///< why a part of the folder could not be listed
};

/// Lists the folder and those below it, at most 100,000 files and 32 deep. A name in the order fits a name on the disk also in
/// another Unicode form. `own`: files of the hand-off itself, such as the order.
[[nodiscard]] Gathered gather(const Order& order, const std::vector<std::string>& own);

/// Findings on what is there, missing, too much, named twice or foreign.
[[nodiscard]] std::vector<Finding> presence_findings(const Order& order, const Gathered& gathered);

/// The path as it is shown and opened.
[[nodiscard]] std::string shown(const Order& order, const std::string& relative);

}  // namespace sendworthy::delivery
