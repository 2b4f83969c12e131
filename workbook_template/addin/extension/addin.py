"""The component LibreOffice loads: the worksheet functions of the registry, and the handler of the menu."""
import uno
import unohelper
from boltbook_kernel import functions
from boltbook_office import cells
from com.sun.star.frame import DispatchResultEvent, XDispatchProvider, XNotifyingDispatch
from com.sun.star.lang import Locale, XInitialization, XLocalizable, XServiceInfo, XServiceName
from com.sun.star.sheet import XAddIn

SERVICE, HANDLER, PROTOCOL = "bolt", "boltbook.Handler", "boltbook:"
SUCCESS = 1  # com.sun.star.frame.DispatchResultState
XFunctions = uno.getClass("boltbook.XFunctions")


class Functions(unohelper.Base, XFunctions, XAddIn, XServiceName, XServiceInfo, XLocalizable):
    """The worksheet functions; one method for each is added below. Their texts stand in CalcAddIns.xcu."""

    def __init__(self, context):
        self.locale = Locale("en", "US", "")

    def getProgrammaticFuntionName(self, shown):
        return shown

    def getDisplayFunctionName(self, name):
        return name

    def getFunctionDescription(self, name):
        return ""

    def getDisplayArgumentName(self, name, place):
        return ""

    def getArgumentDescription(self, name, place):
        return ""

    def getProgrammaticCategoryName(self, name):
        return "Add-In"

    def getDisplayCategoryName(self, name):
        return "Add-In"

    def getServiceName(self):
        return SERVICE

    def getImplementationName(self):
        return SERVICE

    def supportsService(self, name):
        return name == SERVICE

    def getSupportedServiceNames(self):
        return (SERVICE,)

    def setLocale(self, locale):
        self.locale = locale

    def getLocale(self):
        return self.locale


def _method(function):
    def worksheet_function(self, *given):
        return cells.answer(function, given)
    return worksheet_function


for _function in functions.REGISTRY:
    setattr(Functions, _function.name[5:], _method(_function))


class Handler(unohelper.Base, XDispatchProvider, XNotifyingDispatch, XInitialization, XServiceInfo):
    """Answers the entries of the Boltbook menu for the window it was made for."""

    def __init__(self, context, *given):
        self.context, self.frame = context, None
        self.initialize(given)

    def initialize(self, given):
        if given:
            self.frame = given[0]

    def queryDispatch(self, url, target, flags):
        return self if url.Protocol == PROTOCOL else None

    def queryDispatches(self, requests):
        return tuple(self.queryDispatch(r.FeatureURL, r.FrameName, r.SearchFlags) for r in requests)

    def dispatch(self, url, given):
        from boltbook_office import menu
        return menu.run(self.context, self.frame, url.Path, {prop.Name: prop.Value for prop in given})

    def dispatchWithNotification(self, url, given, listener):
        words = self.dispatch(url, given)
        if listener is not None:
            listener.dispatchFinished(DispatchResultEvent(self, SUCCESS, words))

    def addStatusListener(self, listener, url):
        pass

    def removeStatusListener(self, listener, url):
        pass

    def getImplementationName(self):
        return HANDLER

    def supportsService(self, name):
        return name in self.getSupportedServiceNames()

    def getSupportedServiceNames(self):
        return (HANDLER, "com.sun.star.frame.ProtocolHandler")


g_ImplementationHelper = unohelper.ImplementationHelper()
g_ImplementationHelper.addImplementation(Functions, SERVICE, (SERVICE,))
g_ImplementationHelper.addImplementation(Handler, HANDLER, (HANDLER, "com.sun.star.frame.ProtocolHandler"))
