// What a finding says to do, in the words of the page: where to press, in place of commands and keys of the plan's file.
#pragma once

#include <sendworthy/sheet.h>

#include <string>

namespace sendworthy::desk {

/// The same of what names nothing that the page has. Terminal and data formats keep the words as they are.
[[nodiscard]] std::string on_the_page(std::string words);

/// Every remedy of the song's own findings on the page's words; whether any is another one then.
[[nodiscard]] bool put_on_the_page(Sheet& sheet);

}  // namespace sendworthy::desk
