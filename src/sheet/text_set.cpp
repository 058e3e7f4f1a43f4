// A set of files against its order, as text.
#include <algorithm>
#include <string>
#include <vector>

#include "base/text.h"
#include "sheet/phrases.h"
#include "sheet/text_parts.h"

namespace sendworthy::sheet {
namespace {

constexpr std::size_t kFilesShown = 4;
constexpr int kItemColumns = 22;

class SetSection {
 public:
  SetSection(Page& page, const Sheet& sheet, const Catalog& catalog, std::size_t common) : page_(page), sheet_(sheet), catalog_(catalog), common_(common) {}

  void write() {
    const auto& order = *sheet_.order;
    page_.blank();
    std::string head = base::for_terminal(order.title) + ", " + base::for_terminal(order.artist);
    if (!order.album.empty()) head += ", on " + base::for_terminal(order.album);
    if (!order.client.empty()) head += ", for " + base::for_terminal(order.client);
    page_.line(0, head + " (" + base::for_terminal(order.path) + ")", Ink::strong);
    for (const auto& item : order.items) {
      std::string files;
      if (item.files.empty()) {
        files = (item.required ? "missing: " : "not there: ") + unbroken(name(item.wanted));
      } else {
        std::vector<std::string> names;
        for (const auto& file : item.files) names.push_back(name(file));
        files = list_names(names, kFilesShown);
      }
      page_.paragraph(2, base::for_terminal(item.name), kItemColumns, files, item.files.empty() && item.required ? Ink::fail : Ink::none);
    }
    finding_groups(page_, sheet_.findings, catalog_, [this](const std::string& path) { return name(path); });
  }

 private:
  [[nodiscard]] std::string name(const std::string& path) const {
    const bool below = path.size() > common_ && !sheet_.files.empty() && path.compare(0, common_, sheet_.files.front().path, 0, common_) == 0;
    return base::for_terminal(below ? std::string_view(path).substr(common_) : std::string_view(path));
  }

  Page& page_;
  const Sheet& sheet_;
  const Catalog& catalog_;
  std::size_t common_;
};

}  // namespace

void set_section(Page& page, const Sheet& sheet, const Catalog& catalog, std::size_t common) { SetSection(page, sheet, catalog, common).write(); }

}  // namespace sendworthy::sheet
