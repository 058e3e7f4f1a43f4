// Lines of a text sheet: indents, hanging labels, wrapping and colour. No line is wider than the page.
#pragma once

#include <sendworthy/render.h>
#include <sendworthy/sheet.h>

#include <string>
#include <string_view>

namespace sendworthy::sheet {

/// Emphasis of a word. Each word stands for itself; ink only makes it quicker to find.
enum class Ink { none, strong, pass, warn, fail, not_measured, faint };

[[nodiscard]] Ink ink_of(Verdict verdict);

class Page {
 public:
  Page(int width, Colour colour);

  void blank();  ///< an empty line, unless the page is empty or ends with one

  /// `label`, then `text` wrapped with all its lines starting at column `indent + hang` (label padded to `hang`).
  /// On a page too narrow for that the text starts further left.
  void paragraph(int indent, std::string_view label, int hang, std::string_view text, Ink label_ink = Ink::none,
                 Ink text_ink = Ink::none);
  void line(int indent, std::string_view text, Ink ink = Ink::none) { paragraph(indent, "", 0, text, Ink::none, ink); }

  [[nodiscard]] int width() const { return width_; }
  [[nodiscard]] std::string take() { return std::move(out_); }

 private:
  [[nodiscard]] std::string inked(std::string_view text, Ink ink) const;

  std::string out_;
  int width_;
  bool colour_;
};

/// A name whose spaces are neither collapsed nor used to wrap; what `Page` prints in their place are spaces.
[[nodiscard]] std::string unbroken(std::string_view text);

}  // namespace sendworthy::sheet
